"""GET /api/blocks/ID/why: how a date was reached, step by step from readings to rule."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import Response
from pydantic import BaseModel, Field
from sqlalchemy import Engine

from alerts.states import State
from alerts.why.facts import Cause, Event
from alerts.windows import Kind, Reason
from service.evaluation import as_of_day, evaluate_blocks
from service.settings import Settings
from service.showing import why_record
from service.store.engine import reading
from service.web.access import Known
from service.web.api.forms import Record
from service.web.api.parts import ONE, answer_one
from service.web.api.places import fetch_seen
from service.web.api.windows import AsOf, refuse_other_times
from service.web.pages import choose_language
from service.web.seen_blocks import unname_why
from service.why import explain


class ProbeOfDay(BaseModel):
    """What a probe gave on the day that the explanation rests on."""

    depth_cm: Annotated[float, Field(description="below the surface [cm]")]
    hours: Annotated[int | None, Field(description="with a reading that counts; null: by hand")]
    left_out: Annotated[int, Field(description="readings that were flagged and do not count")]
    complete: Annotated[bool, Field(description="whether that makes a day")]


class WhyRecord(BaseModel):
    """What decided one date of a block, or that it is not open."""

    event: Event
    day: Annotated[date, Field(description="on which it opened or closed; else that of as_of")]
    kind: Annotated[Kind, Field(description="of the window; of the next one where none is open")]
    season: Annotated[int, Field(description="its year; of one that spans two the first")]
    state: Annotated[State | None, Field(description="where it is not open")]
    reason: Annotated[Reason | None, Field(description="why it closed")]
    not_before: Annotated[date, Field(description="readings are missing from then to day")]
    earliest: Annotated[date | None, Field(description="as far as temperatures may err")]
    latest: Annotated[date | None, Field(description="as far as temperatures may err")]
    basis_on: Annotated[date, Field(description="the day that it rests on")]
    root_zone_c: Annotated[float | None, Field(description="mean of that day [°C]")]
    probes: Annotated[list[ProbeOfDay], Field(description="on that day")]
    estimated_cm: Annotated[
        list[float], Field(description="depths without a day of their own [cm]")
    ]
    carried_from_cm: Annotated[
        float | None, Field(description="the deepest probe, where what is below is carried [cm]")
    ]
    borrowed_from: Annotated[list[str], Field(description="the neighbours that lend that day")]
    means_c: Annotated[
        dict[date, float | None], Field(description="trailing means up to that day [°C]")
    ]
    cause: Annotated[Cause, Field(description="what of the rule decided, or is awaited")]
    limit_c: Annotated[float | None, Field(description="that the mean met, or has to meet [°C]")]
    short_by_c: Annotated[
        float | None, Field(description="what it lacks, or lacked the day before [°C]")
    ]
    steps: Annotated[list[str], Field(description="the same in your language and unit")]


class BlockWhyRecord(Record):
    """How dates of a block were reached."""

    block: Annotated[str, Field(description="its id")]
    as_of: Annotated[date, Field(description="the last day that counted")]
    whys: list[WhyRecord]


def whys_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the route."""
    routes = APIRouter(prefix="/api", tags=["windows"])

    @routes.get("/blocks/{block_id}/why", response_model=BlockWhyRecord, responses=ONE)
    def tell(
        request: Request,
        block_id: Annotated[str, Path(description="id of a block")],
        who: Known,
        season: Annotated[
            int | None, Query(ge=1900, le=2200, description="all dates of a season, by its year")
        ] = None,
        kind: Annotated[Kind | None, Query(description="all dates of this window")] = None,
        as_of: AsOf = None,
    ) -> Response:
        """Return why a block is open, or is not; how all dates were reached of a season or kind of
        window that is asked for.
        """
        language, now = choose_language(request), datetime.now(UTC)
        refuse_other_times(as_of, now)
        with reading(engine) as connection:
            names = {one.name for one in fetch_seen(connection, who.reach)}
            blocks = fetch_seen(connection, who.reach, block_id)
            days = [as_of or as_of_day(one, now) for one in blocks]
            accuracy_c = settings.sensor_accuracy_c
            (one,) = evaluate_blocks(connection, blocks, days, None, accuracy_c)
            found = explain(connection, one, season, kind)
        whys = [
            WhyRecord.model_validate(why_record(why, one, who.account.unit, language))
            for why in (unname_why(each, names, language) for each in found)
        ]
        record = BlockWhyRecord(block=one.block.id, as_of=one.as_of, whys=whys)
        return answer_one(request, record)

    return routes
