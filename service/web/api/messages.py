"""/api/notices/messages, next and hold: what readers were sent, are told next, and holding it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from http import HTTPStatus
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import Response
from pydantic import BaseModel, Field
from sqlalchemy import Engine

from alerts.gsm import count_parts
from service.store.engine import reading, writing
from service.store.holds import fetch_hold
from service.store.outbox import MessageState, find_state
from service.web.access import REFUSALS, Administrator, Known, administrators
from service.web.api.forms import Record
from service.web.api.imports import Why
from service.web.api.parts import DONE, LISTED, ONE, Number, Part, answer_one
from service.web.letters import read_message
from service.web.own_messages import (
    drop_message,
    find_message,
    find_messages,
    let_held_go,
    need_next,
    send_once_more,
)
from service.web.problems import Problem, describe_refusals
from service.web.writing import run_writing

MessageNumber = Annotated[Number, Path(description="number of a message")]
Of = Annotated[
    str,
    Query(max_length=300, description="name of a reader, for administrators; you unless given"),
]
Parts = Annotated[int | None, Field(description="that the text counts as; null: it is a mail")]


class MessageRecord(Record):
    """One message to one address."""

    number: int
    reader: Annotated[str, Field(description="the name of whom it is to")]
    channel: Literal["mail", "sms"]
    address: str
    state: Annotated[
        MessageState,
        Field(description="held: its address is suspended; later: it is tried again"),
    ]
    is_suspended: Annotated[bool, Field(description="its address is: nothing goes there")]
    attempts: int
    created_at: Annotated[datetime, Field(description="[UTC]")]
    next_try_at: Annotated[datetime | None, Field(description="[UTC]")]
    delivered_at: Annotated[datetime | None, Field(description="handed over [UTC]")]
    ended_at: Annotated[datetime | None, Field(description="not sent any more since [UTC]")]
    ended_by: str | None
    failure: Annotated[str | None, Field(description="what went wrong, or why it ended")]


class ShownMessage(MessageRecord):
    """The same with what it says; /mail behind it shows a mail as its reader's program does."""

    subject: Annotated[str | None, Field(description="of a mail")]
    text: Annotated[str, Field(description="without pictures, colours, secrets of links")]
    parts: Parts


class NextRecord(Record):
    """What a reader is told next, unless something else comes before; /mail behind it shows the
    mail as their program does, to which a picture of each block is added then.
    """

    subject: str
    text: Annotated[str, Field(description="the mail without pictures and colours")]
    sms: Annotated[str, Field(description="the same as a text")]
    parts: Annotated[int, Field(description="that the text counts as")]


class HoldRecord(Record):
    """Whether sending is held back, as after a restore."""

    since: Annotated[datetime | None, Field(description="null: nothing is held back [UTC]")]
    why: str | None


class LetGo(BaseModel):
    """How many messages waited."""

    messages: int


def messages_routes(engine: Engine) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["notices"])
    not_held = describe_refusals(CONFLICT="nothing is held back")

    @routes.get("/notices/messages", response_model=list[MessageRecord], responses=LISTED)
    def list_messages(who: Known, part: Part, of: Of = "") -> Response:
        """Return the messages to you, or for an administrator to all, the latest first."""
        with reading(engine) as connection:
            found = find_messages(connection, who, of, part.limit + 1, part.find_number())
        messages, next_key = part.cut(found, lambda row: row.id)
        now = datetime.now(UTC)
        records = [MessageRecord.model_validate(_tell(one, now)) for one in messages]
        return part.answer(records, MessageRecord, next_key)

    @routes.get("/notices/messages/{number}", response_model=ShownMessage, responses=ONE)
    def show_message(request: Request, number: MessageNumber, who: Known) -> Response:
        """Return a message as it was sent, or is to be."""
        with reading(engine) as connection:
            row = find_message(connection, number, who)
        read = read_message(row.channel, row.message)
        parts = count_parts(row.message) if row.channel == "sms" else None
        said = {"subject": read.subject, "text": read.text, "parts": parts}
        shown = ShownMessage.model_validate(_tell(row, datetime.now(UTC)) | said)
        return answer_one(request, shown)

    @routes.post(
        "/notices/messages/{number}/again",
        status_code=204,
        responses={
            **REFUSALS,
            **describe_refusals(CONFLICT="it was delivered, or its address is suspended"),
        },
    )
    async def send_message_again(number: MessageNumber, who: Administrator) -> None:
        """Let a message be sent again that waits, was refused or dropped, or came back."""
        if not await run_writing(do, send_once_more, number, who, datetime.now(UTC)):
            said = "it was delivered; or its address is suspended: correct that in the farm file"
            raise Problem(HTTPStatus.CONFLICT, said)

    @routes.post(
        "/notices/messages/{number}/drop",
        status_code=204,
        responses={**DONE, **describe_refusals(CONFLICT="it does not wait")},
    )
    async def drop(number: MessageNumber, said: Why, who: Administrator) -> None:
        """Let a message wait no longer; what it tells is not told again."""
        if not await run_writing(do, drop_message, number, said.why, who, datetime.now(UTC)):
            raise Problem(HTTPStatus.CONFLICT, "it does not wait; read it again to see its state")

    @routes.get("/notices/next", response_model=NextRecord, responses=ONE)
    def show_next(request: Request, who: Known, of: Of = "") -> Response:
        """Return what you are told next, as mail and as text."""
        with reading(engine) as connection:
            found = need_next(connection, who, of)
        letter = found.letter
        record = NextRecord(
            subject=letter.subject,
            text=letter.text,
            sms=found.text,
            parts=count_parts(found.text),
        )
        return answer_one(request, record)

    @routes.get(
        "/notices/hold",
        response_model=HoldRecord,
        responses=ONE,
        dependencies=[administrators],
    )
    def show_hold(request: Request) -> Response:
        """Return whether sending is held back, since when and why."""
        with reading(engine) as connection:
            hold = fetch_hold(connection)
        record = HoldRecord(since=hold and hold.since, why=hold and hold.why)
        return answer_one(request, record)

    @routes.post("/notices/hold/release", response_model=LetGo, responses={**REFUSALS, **not_held})
    async def release_hold(who: Administrator) -> LetGo:
        """Let messages go again that are held back."""
        return _count(await run_writing(do, let_held_go, who, False, datetime.now(UTC)))

    @routes.post("/notices/hold/drop", response_model=LetGo, responses={**REFUSALS, **not_held})
    async def drop_held(who: Administrator) -> LetGo:
        """Drop what waits, since it was told before; what is told from now on goes again."""
        return _count(await run_writing(do, let_held_go, who, True, datetime.now(UTC)))

    def do(deed: Callable[..., Any], *about: Any) -> Any:
        with writing(engine) as connection:
            return deed(connection, *about)

    return routes


def _count(messages: int | None) -> LetGo:
    if messages is None:
        raise Problem(HTTPStatus.CONFLICT, "nothing is held back")
    return LetGo(messages=messages)


def _tell(row: Any, now: datetime) -> dict[str, Any]:
    """Return a message of the outbox, a row, by the names of its record."""
    alike = MessageRecord.model_fields.keys() & row._mapping.keys()
    known = {name: row._mapping[name] for name in alike}
    return {
        **known,
        "number": row.id,
        "reader": row.recipient_name,
        "state": find_state(row, now),
    }
