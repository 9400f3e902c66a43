"""GET /api/crew-days: which crew digs which block on which day."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import Field
from sqlalchemy import Engine

from service.settings import Settings
from service.web.access import Planner
from service.web.api.forms import Record
from service.web.api.parts import ONE, answer_one
from service.web.crew_plans import Asked, need_plan


class CrewDayRecord(Record):
    """A crew in a block on a day."""

    day: date
    crew: Annotated[int, Field(description="from 1")]
    block: Annotated[str, Field(description="its id")]
    vines: Annotated[int, Field(description="that it digs there on that day")]
    window_from: Annotated[date, Field(description="the first day of the window of the block")]
    window_until: Annotated[date, Field(description="the last day of it, itself too")]
    expected: Annotated[bool, Field(description="whether the window is not open yet")]


class CrewPlanRecord(Record):
    """The days of crews in the order of time."""

    as_of: Annotated[date, Field(description="the last day that it knows of")]
    days: list[CrewDayRecord]
    left: Annotated[dict[str, int], Field(description="vines that find no place, by block")]
    without: Annotated[
        dict[str, str], Field(description="why a block has no window to plan for, by block")
    ]


def crew_days_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the route."""
    routes = APIRouter(prefix="/api", tags=["digging"])

    @routes.get("/crew-days", response_model=CrewPlanRecord, responses=ONE)
    def show_plan(request: Request, who: Planner, asked: Annotated[Asked, Query()]) -> Response:
        """Return a plan for your blocks, or some of them, within windows that are open or likely
        to open.
        """
        found = need_plan(engine, settings, who, asked)
        days = [
            CrewDayRecord(
                day=one.day,
                crew=one.crew,
                block=one.job.block_id,
                vines=one.vines,
                window_from=one.job.first,
                window_until=one.job.last,
                expected=one.job.expected,
            )
            for one in found.days
        ]
        plan = CrewPlanRecord(as_of=found.as_of, days=days, left=found.left, without=found.why_not)
        return answer_one(request, plan)

    return routes
