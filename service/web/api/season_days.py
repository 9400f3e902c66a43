"""GET /api/blocks/ID/season-days: what each day of a season was, as ribbons draw it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Annotated

from fastapi import APIRouter, Path, Query
from fastapi.responses import Response
from pydantic import Field
from sqlalchemy import Engine

from alerts.season_days import DayKind, SeasonDays
from service.evaluation import as_of_day, evaluate_blocks
from service.settings import Settings
from service.showing import find_season
from service.store.engine import reading
from service.web.access import Known
from service.web.api.forms import Record
from service.web.api.parts import LISTED, Part
from service.web.api.places import fetch_seen


class SeasonDayRecord(Record):
    """A day of a season of a block."""

    day: Annotated[date, Field(description="of the site's standard time")]
    kind: Annotated[
        DayKind | None,
        Field(
            description="unseen: it may have been open, readings are missing; hot: closed by heat;"
            " resting: between a spring that is spent and fall; null: it is still to come"
        ),
    ]
    open_chance: Annotated[
        float | None,
        Field(description="of a day to come of this season: that it is open, a share of 1"),
    ]


def season_days_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the route."""
    routes = APIRouter(prefix="/api", tags=["windows"])

    @routes.get(
        "/blocks/{block_id}/season-days", response_model=list[SeasonDayRecord], responses=LISTED
    )
    def list_days(
        who: Known,
        part: Part,
        block_id: Annotated[str, Path(description="id of a block")],
        season: Annotated[
            int | None,
            Query(ge=1900, le=2200, description="its year; of one that spans two the first"),
        ] = None,
    ) -> Response:
        """Return what each day of a season was for a block; of the one of today unless given.

        Its chances are those that a round foresaw.
        """
        now, after = datetime.now(UTC), part.find_start(date)
        with reading(engine) as connection:
            blocks = fetch_seen(connection, who.reach, block_id)
            days = [as_of_day(one, now) for one in blocks]
            seasons = 1 if season is None else max(now.year + 2 - season, 1)
            accuracy_c = settings.sensor_accuracy_c
            (found,) = evaluate_blocks(connection, blocks, days, seasons, accuracy_c)
        every = [*_tell(find_season(found, season))]
        later = [one for one in every if after is None or one.day > after]
        records, next_key = part.cut(later, lambda one: one.day)
        return part.answer(records, SeasonDayRecord, next_key)

    return routes


def _tell(season: SeasonDays) -> Iterator[SeasonDayRecord]:
    for place, kind in enumerate(season.kinds.tolist()):
        ahead = place - season.n_known + 1
        yield SeasonDayRecord(
            day=season.first + timedelta(days=place),
            kind=kind if ahead <= 0 else None,
            open_chance=season.chance_ahead(ahead) if ahead > 0 else None,
        )
