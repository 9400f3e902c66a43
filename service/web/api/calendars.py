"""/api/calendars: the secret links of calendars that phones subscribe to."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import Engine

from service.store.engine import reading, writing
from service.web.access import Known
from service.web.api.forms import Record
from service.web.api.parts import DONE, LISTED, Number, Part
from service.web.own_calendars import (
    find_links,
    make_link,
    renew_link,
    revoke_link,
    write_link,
)
from service.web.writing import run_writing

LinkNumber = Annotated[Number, Path(description="number of a calendar")]
Of = Annotated[
    str, Field(max_length=300, description="block/ID, district/ID, or empty: all that you see")
]


class CalendarRecord(Record):
    """A calendar of yours; its link is told only when it is made."""

    number: int
    of: Of
    made_at: Annotated[datetime, Field(description="[UTC]")]
    last_used_at: Annotated[datetime | None, Field(description="[UTC]")]


class WantedCalendar(BaseModel):
    """What a calendar is to hold."""

    model_config = ConfigDict(extra="forbid")

    of: Of


class CalendarLink(BaseModel):
    """The link of a calendar: only now, since no one keeps it."""

    link: str


def calendars_routes(engine: Engine) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["account"])

    @routes.get("/calendars", response_model=list[CalendarRecord], responses=LISTED)
    def list_links(who: Known, part: Part) -> Response:
        """Return your calendars."""
        after = part.find_number() or 0
        with reading(engine) as connection:
            later = [one for one in find_links(connection, who) if one.id > after]
        links, next_key = part.cut(later, lambda one: one.id)
        records = [
            CalendarRecord(
                number=one.id, of=one.name, made_at=one.made_at, last_used_at=one.last_used_at
            )
            for one in links
        ]
        return part.answer(records, CalendarRecord, next_key)

    @routes.post("/calendars", response_model=CalendarLink, responses=DONE)
    async def make(request: Request, wanted: WantedCalendar, who: Known) -> CalendarLink:
        """Make the link of a calendar: whoever has it reads what you see of it."""

        def keep() -> str:
            with writing(engine) as connection:
                return make_link(connection, who, wanted.of, datetime.now(UTC))

        return CalendarLink(link=write_link(request, await run_writing(keep)))

    @routes.post("/calendars/{number}/renew", response_model=CalendarLink, responses=DONE)
    async def renew(request: Request, number: LinkNumber, who: Known) -> CalendarLink:
        """Put another link in the place of one."""

        def keep() -> str:
            with writing(engine) as connection:
                return renew_link(connection, who, number, datetime.now(UTC))

        return CalendarLink(link=write_link(request, await run_writing(keep)))

    @routes.post("/calendars/{number}/revoke", status_code=204, responses=DONE)
    async def revoke(number: LinkNumber, who: Known) -> None:
        """Let a link hold no longer."""

        def keep() -> None:
            with writing(engine) as connection:
                revoke_link(connection, who, number, datetime.now(UTC))

        await run_writing(keep)

    return routes
