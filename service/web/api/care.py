"""GET /api/checkup and /api/deeds: what wants a look, and who did what."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter
from fastapi.responses import Response
from pydantic import Field
from sqlalchemy import Engine

from service.settings import Settings
from service.store.audit import Deed, fetch_deeds
from service.store.engine import reading
from service.watching.checkup import check_service
from service.web.access import administrators
from service.web.api.forms import Record
from service.web.api.parts import LISTED, Part


class FindingRecord(Record):
    """One thing that was looked at."""

    place: Annotated[int, Field(description="in the order in which it matters, from 1")]
    what: str
    said: str
    remedy: Annotated[str | None, Field(description="what to do; null: it is fine")]


class DeedRecord(Record):
    """Something that was done."""

    id: int
    at: Annotated[datetime, Field(description="[UTC]")]
    who: Annotated[str, Field(description="the address of an account, or console")]
    what: str
    about: str


def care_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["care"], dependencies=[administrators])

    @routes.get("/checkup", response_model=list[FindingRecord], responses=LISTED)
    def check(part: Part) -> Response:
        """Return what wants a look, and what is fine, as `digseason check` says."""
        after = part.find_number() or 0
        found = enumerate(check_service(engine, settings, datetime.now(UTC)), 1)
        every = [FindingRecord(place=place, **vars(one)) for place, one in found]
        records, next_key = part.cut(every[after:], lambda one: one.place)
        return part.answer(records, FindingRecord, next_key)

    @routes.get("/deeds", response_model=list[DeedRecord], responses=LISTED)
    def list_deeds(part: Part) -> Response:
        """Return who did what, the latest first."""
        with reading(engine) as connection:
            found: list[Deed] = [*fetch_deeds(connection, part.limit + 1, part.find_number())]
        deeds, next_key = part.cut(found, lambda one: one.id)
        return part.answer([DeedRecord(**vars(one)) for one in deeds], DeedRecord, next_key)

    return routes
