"""GET and POST /api/dug: in which windows you have dug; of those you hear no more but the close."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import Connection, Engine

from alerts.windows import Kind
from service.store.dug import Window, fetch_dug, fetch_open_windows, say_dug, take_dug_back
from service.store.engine import reading, writing
from service.web.access import Known, Visitor
from service.web.api.forms import Record
from service.web.api.parts import DONE, LISTED, Part
from service.web.problems import Problem, describe_refusals
from service.web.writing import run_writing

BlockId = Annotated[str, Field(description="its id")]
Season = Annotated[int, Field(description="its year; of one that spans two the first")]


class DugRecord(Record):
    """A window that you were told is open, or in which you have dug."""

    block: BlockId
    season: Season
    kind: Kind
    is_open: Annotated[bool, Field(description="whether you were told so last")]
    said_at: Annotated[datetime | None, Field(description="that you have dug; null: no [UTC]")]


class SaidDug(BaseModel):
    """Whether you have dug in a window; false takes it back."""

    model_config = ConfigDict(extra="forbid")

    block: BlockId
    season: Season
    kind: Kind
    dug: bool


def dug_routes(engine: Engine) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["digging"])

    @routes.get("/dug", response_model=list[DugRecord], responses=LISTED)
    def list_dug(who: Known, part: Part) -> Response:
        """Return the windows that you were told are open, and those in which you have dug."""
        after = part.find_start(str)
        with reading(engine) as connection:
            every = _find(connection, who)
        found = [one for one in every if after is None or _key(one) > after]
        records, next_key = part.cut(found, _key)
        return part.answer(records, DugRecord, next_key)

    @routes.post(
        "/dug",
        response_model=DugRecord,
        responses={**DONE, **describe_refusals(CONFLICT="your account is told of nothing")},
    )
    async def say(said: SaidDug, who: Known) -> DugRecord:
        """Say that you have dug in a window, or take it back; said again it stays as it was."""
        return await run_writing(_say, said, who)

    def _say(said: SaidDug, who: Visitor) -> DugRecord:
        name, now = who.account.recipient_name, datetime.now(UTC)
        if name is None:
            said_why = "this account is told of nothing; an administrator says who it is told as"
            raise Problem(HTTPStatus.CONFLICT, said_why)
        window = Window(said.block, said.season, said.kind)
        with writing(engine) as connection:
            known = {_window(one): one for one in _find(connection, who)}
            found = known.get(window)
            if found is None:
                said_why = "you were not told that this window is open; /api/dug lists those"
                raise Problem(HTTPStatus.NOT_FOUND, said_why)
            if said.dug:
                say_dug(connection, name, window, "by the API", now)
            else:
                take_dug_back(connection, name, window, now)
            said_at = fetch_dug(connection, name).get(window)
        return found.model_copy(update={"said_at": said_at})

    return routes


def _find(connection: Connection, who: Visitor) -> list[DugRecord]:
    name = who.account.recipient_name
    if name is None:
        return []
    are_open, said = fetch_open_windows(connection, name), fetch_dug(connection, name)
    records = [
        DugRecord(
            block=window.block_id,
            season=window.season,
            kind=window.kind,
            is_open=window in are_open,
            said_at=said.get(window),
        )
        for window in are_open.keys() | said
        if window.block_id in who.reach.block_ids
    ]
    return sorted(records, key=_key)


def _window(one: DugRecord) -> Window:
    return Window(one.block, one.season, one.kind)


def _key(one: DugRecord) -> str:
    return f"{one.block} {one.season} {one.kind}"
