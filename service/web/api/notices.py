"""GET /api/notices: what was told of blocks."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import Field
from sqlalchemy import Engine

from alerts.notices import Notice, What
from alerts.sentences import tell
from alerts.windows import Kind, Reason
from service.store.engine import reading
from service.store.notices import fetch_last_notices
from service.web.access import Known
from service.web.api.forms import Record
from service.web.api.parts import LISTED, Part
from service.web.api.places import fetch_seen
from service.web.pages import choose_language
from service.web.seen_blocks import unname_sources


class NoticeRecord(Record):
    """One thing that was told of one block; its text is of your language and unit."""

    id: int
    made_at: Annotated[datetime, Field(description="when its round began [UTC]")]
    block: Annotated[str, Field(description="its id")]
    season: Annotated[int, Field(description="its year; of one that spans two the first")]
    kind: Kind
    what: What
    opened_on: date | None
    not_before: Annotated[
        date | None, Field(description="readings were missing from then to opened_on")
    ]
    closed_on: Annotated[date | None, Field(description="the first day that is no longer open")]
    reason: Annotated[Reason | None, Field(description="why it closed")]
    told_opened_on: Annotated[date | None, Field(description="what had been told before")]
    told_closed_on: Annotated[date | None, Field(description="what had been told before")]
    ends_by: Annotated[date | None, Field(description="on that day it is over at the latest")]
    mean_c: Annotated[float | None, Field(description="the mean that decided [°C]")]
    mean_on: Annotated[date | None, Field(description="the day of that mean")]
    limit_c: Annotated[float | None, Field(description="what it was read against [°C]")]
    text: str


ALIKE = NoticeRecord.model_fields.keys() & Notice.__dataclass_fields__.keys()


def notices_routes(engine: Engine) -> APIRouter:
    """Return the route."""
    routes = APIRouter(prefix="/api", tags=["notices"])

    @routes.get("/notices", response_model=list[NoticeRecord], responses=LISTED)
    def list_notices(
        request: Request,
        who: Known,
        part: Part,
        block: Annotated[str | None, Query(description="id of one block")] = None,
    ) -> Response:
        """Return what was told of the blocks that you see, or of one, the latest first."""
        language, unit = choose_language(request), who.account.unit
        before = part.find_number()
        with reading(engine) as connection:
            every = fetch_seen(connection, who.reach)
            found = fetch_seen(connection, who.reach, block) if block else every
            ids = [one.id for one in found]
            told = fetch_last_notices(connection, ids, part.limit + 1, before)
        notices, next_key = part.cut(told, lambda one: one.id)
        names = {one.name for one in every}
        records = [
            NoticeRecord(
                id=one.id,
                made_at=one.at,
                block=notice.block_id,
                **{name: getattr(notice, name) for name in ALIKE},
                text=tell(notice, language, unit, one.at.date()),
            )
            for one in notices
            for sources in [unname_sources(one.notice.sources, names, language)]
            for notice in [replace(one.notice, sources=sources)]
        ]
        return part.answer(records, NoticeRecord, next_key)

    return routes


ALIKE = [
    name for name in NoticeRecord.model_fields if name not in ("id", "made_at", "block", "text")
]
