"""GET /api/states and /api/outlooks: how blocks stand, and what is to come."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator
from datetime import UTC, date, datetime
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import Field
from sqlalchemy import Engine

from alerts.figures import show_neighbours
from alerts.states import State
from probes.units import Unit
from service.evaluation import as_of_day
from service.reach import Reach
from service.settings import Settings
from service.store.engine import reading
from service.store.outlooks import KeptOutlook, fetch_outlooks
from service.web.access import Known
from service.web.api.forms import Record
from service.web.api.parts import LISTED, Part
from service.web.api.places import fetch_seen
from service.web.api.ranges import Day
from service.web.pages import choose_language
from service.web.seen_blocks import SeenBlock, see, unname_neighbours

OneBlock = Annotated[str | None, Query(description="id of one block")]


class StateRecord(Record):
    """How a block stands; words are of your language, and temperatures in them of your unit."""

    block: Annotated[str, Field(description="its id")]
    as_of: Annotated[date, Field(description="the last day that has ended at its site")]
    season: Annotated[int, Field(description="its year; of one that spans two the first")]
    state: State
    mean_c: Annotated[
        float | None,
        Field(description="latest mean of the season, of five days or as its rule says [°C]"),
    ]
    mean_on: Annotated[date | None, Field(description="the day of that mean")]
    opened_on: Annotated[date | None, Field(description="of the window, where one is open")]
    text: Annotated[str, Field(description="how it stands and what is to come")]
    readings: Annotated[str, Field(description="how fresh its readings are")]


class OutlookRecord(Record):
    """When a window opens or closes next, as a round foresaw it; chances are shares of 1."""

    block: Annotated[str, Field(description="its id")]
    issued_on: Annotated[date, Field(description="the last day that it knows of")]
    season: int
    kind: Annotated[str, Field(description="spring, or fall")]
    event: Annotated[str, Field(description="opens, or closes")]
    chance: Annotated[float, Field(description="that it happens this season")]
    chance_by_now: Annotated[float, Field(description="that it has happened by issued_on")]
    chance_7_d: Annotated[float, Field(description="by 7 days later")]
    chance_14_d: Annotated[float, Field(description="by 14 days later")]
    p10: Annotated[date | None, Field(description="one in ten is earlier; null: not this season")]
    p50: Annotated[date | None, Field(description="as likely earlier as later")]
    p90: Annotated[date | None, Field(description="one in ten is later; null: not this season")]
    open_chances: Annotated[
        list[float], Field(description="of being open on issued_on and every seventh day on")
    ]
    last_day: Annotated[date | None, Field(description="the last day with a temperature")]
    curve_of: Annotated[
        str | None,
        Field(description="whose yearly curve: id of a block or station; null: another grower's"),
    ]
    borrowed_from: Annotated[str | None, Field(description="the neighbours that lend it days")]
    air_issued_on: Annotated[date | None, Field(description="of the air forecast that it heeds")]


def outlooks_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["windows"])

    @routes.get("/states", response_model=list[StateRecord], responses=LISTED)
    def list_states(request: Request, who: Known, part: Part, block: OneBlock = None) -> Response:
        """Return how the blocks that you see stand, or one of them, by id."""
        language = choose_language(request)
        with reading(engine) as connection:
            every = fetch_seen(connection, who.reach)
            found = fetch_seen(connection, who.reach, block) if block else every
            blocks, next_key = part.cut_by_id(found)
            names = {one.name for one in every}
            seen = see(connection, blocks, 1, settings, names, language)
        records = [_stand(one, language, who.account.unit) for one in seen]
        return part.answer(records, StateRecord, next_key)

    @routes.get("/outlooks", response_model=list[OutlookRecord], responses=LISTED)
    def list_outlooks(
        who: Known,
        part: Part,
        block: OneBlock = None,
        issued_on: Annotated[
            Day | None, Query(description="yesterday at each site unless given")
        ] = None,
    ) -> Response:
        """Return what is to come in the blocks that you see, or in one, by id.

        A round makes them; a block has none without a yearly curve. `limit` is how many blocks.
        """
        now = datetime.now(UTC)
        with reading(engine) as connection:
            every = fetch_seen(connection, who.reach)
            found = fetch_seen(connection, who.reach, block) if block else every
            blocks, next_key = part.cut_by_id(found)
            of_day: defaultdict[date, list[str]] = defaultdict(list)
            for one in blocks:
                of_day[issued_on or as_of_day(one, now)].append(one.id)
            kept: dict[str, KeptOutlook] = {}
            for day, ids in of_day.items():
                kept |= fetch_outlooks(connection, ids, day)
        names = {one.name for one in every}
        records = [
            record
            for one in blocks
            if one.id in kept
            for record in _foresee(one.id, kept[one.id], who.reach, names)
        ]
        return part.answer(records, OutlookRecord, next_key)

    return routes


def _stand(one: SeenBlock, language: str, unit: Unit) -> StateRecord:
    standing, opened = one.now.evaluation.standing, one.shown.opened
    return StateRecord(
        block=one.now.block.id,
        as_of=one.now.as_of,
        season=standing.season,
        state=one.now.state,
        mean_c=standing.mean_c,
        mean_on=standing.mean_on,
        opened_on=opened and opened.opened_on,
        text=one.tell(language, unit),
        readings=one.tell_readings(language),
    )


def _foresee(
    block_id: str, kept: KeptOutlook, reach: Reach, names: Collection[str]
) -> Iterator[OutlookRecord]:
    """Yield what is to come: an opening, where none is open, and the close after it."""
    outlook = kept.outlook
    borrowed = unname_neighbours(kept.borrowed, names, "en")
    is_seen = kept.curve_is_station or kept.curve_of in reach.block_ids
    for event, chances in (("opens", outlook.opens), ("closes", outlook.closes)):
        if chances:
            yield OutlookRecord(
                block=block_id,
                issued_on=outlook.issued_on,
                season=outlook.season,
                kind=outlook.kind,
                event=event,
                chance=chances.chance,
                chance_by_now=chances.by_now,
                chance_7_d=chances.within_7_d,
                chance_14_d=chances.within_14_d,
                p10=chances.p10,
                p50=chances.p50,
                p90=chances.p90,
                open_chances=list(outlook.open_chances),
                last_day=outlook.last_day,
                curve_of=kept.curve_of if is_seen else None,
                borrowed_from=show_neighbours(borrowed, "en") or None,
                air_issued_on=kept.air_issued_on,
            )
