"""GET /api/windows: the windows of blocks."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from functools import partial
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import Response
from pydantic import Field
from sqlalchemy import Engine

from service.evaluation import as_of_day, evaluate_blocks
from service.settings import Settings
from service.showing import window_records
from service.store.engine import reading
from service.web.access import Known
from service.web.api.forms import Record
from service.web.api.parts import LISTED, Part
from service.web.api.places import fetch_seen
from service.web.problems import Problem
from service.web.seen_blocks import unname_sources

FIRST_DAY = date(1970, 1, 1)

AsOf = Annotated[
    date | None, Query(description="last day that counts; yesterday at each site unless given")
]


class WindowRecord(Record):
    """A stretch in which a block is to be dug; days of the standard time of its site."""

    block: Annotated[str, Field(description="its id")]
    season: Annotated[int, Field(description="its year; of one that spans two the first")]
    kind: Annotated[str, Field(description="spring, or fall")]
    opened_on: date
    not_before: Annotated[date, Field(description="readings are missing from then to opened_on")]
    opened_earliest: Annotated[date, Field(description="as far as temperatures may err")]
    opened_latest: Annotated[date | None, Field(description="null: perhaps it never opened")]
    closed_on: Annotated[date | None, Field(description="the first day that is no longer open")]
    closed_not_before: date | None
    closed_earliest: date | None
    closed_latest: date | None
    may_pause: Annotated[int, Field(description="1: it may have paused more often")]
    reason: Annotated[
        str | None, Field(description="why it closed: spent, turned, cold, hot or season over")
    ]
    opened_estimated: Annotated[int, Field(description="1: not measured in full")]
    closed_estimated: Annotated[int, Field(description="1: not measured in full")]
    degree_days_c: Annotated[float | None, Field(description="of the season so far [degC d]")]
    basis: Annotated[str, Field(description="the depths that it rests on")]
    source: Annotated[str | None, Field(description="what else than its loggers it rests on")]
    borrowed: Annotated[int, Field(description="1: from neighbours")]
    by_hand: Annotated[int, Field(description="1: it rests on readings by hand")]
    error_c: Annotated[float | None, Field(description="standard error of the mean [°C]")]
    as_of: Annotated[date, Field(description="the last day that counted")]


def windows_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the route."""
    routes = APIRouter(prefix="/api", tags=["windows"])

    @routes.get("/windows", response_model=list[WindowRecord], responses=LISTED)
    def windows(
        who: Known,
        part: Part,
        block: Annotated[str | None, Query(description="id of one block")] = None,
        as_of: AsOf = None,
    ) -> Response:
        """Return the windows of the blocks that you see, or of one, over all seasons.

        By block and time; `limit` is how many blocks.
        """
        now = datetime.now(UTC)
        refuse_other_times(as_of, now)
        with reading(engine) as connection:
            every = fetch_seen(connection, who.reach)
            found = fetch_seen(connection, who.reach, block) if block else every
            blocks, next_key = part.cut_by_id(found)
            days = [as_of or as_of_day(one, now) for one in blocks]
            evaluations = evaluate_blocks(
                connection, blocks, days, None, settings.sensor_accuracy_c
            )
        unname = partial(unname_sources, names={one.name for one in every}, language="en")
        records = [WindowRecord.model_validate(one) for one in window_records(evaluations, unname)]
        return part.answer(records, WindowRecord, next_key)

    return routes


def refuse_other_times(day: date | None, now: datetime) -> None:
    """Refuse a day of which nothing can be known."""
    tomorrow = (now + timedelta(days=1)).date()
    if day is not None and not FIRST_DAY <= day <= tomorrow:
        raise Problem(
            HTTPStatus.UNPROCESSABLE_ENTITY,
            f"{day} lies outside {FIRST_DAY} to {tomorrow}; name a day between",
        )
