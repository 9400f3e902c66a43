"""Messages of a visitor: what they are told next, what they were sent; an administrator of all."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus
from typing import Any, NamedTuple

from sqlalchemy import Connection, select

from alerts.letter import Letter
from service.digests import preview_digest
from service.due import When, find_due
from service.store.holds import let_go
from service.store.outbox import end_message, fetch_messages, find_state, send_again
from service.store.tables import organisation
from service.web.access import Visitor
from service.web.problems import Problem


class Preview(NamedTuple):
    """What a reader is told next, as a letter without its pictures and as a text."""

    letter: Letter
    text: str


def choose_reader(who: Visitor, of: str) -> str | None:
    """Return the reader whose messages are shown; an administrator may name any."""
    if who.account.role == "administrator" and of:
        return of
    return who.account.recipient_name


def find_messages(
    connection: Connection, who: Visitor, of: str, most: int, before: int | None = None
) -> list[Any]:
    """Return the latest messages to a reader, or to all, as rows, the latest first."""
    name = choose_reader(who, of)
    if name is None and who.account.role != "administrator":
        return []
    rows = fetch_messages(connection, recipient_name=name, latest=most, before=before)
    return rows[::-1]


def find_message(connection: Connection, number: int, who: Visitor) -> Any:
    """Return a message to the visitor, or to anyone for an administrator, or refuse it."""
    is_for_all = who.account.role == "administrator"
    for row in fetch_messages(connection, [number]):
        if is_for_all or row.recipient_name == who.account.recipient_name:
            return row
    raise Problem(HTTPStatus.NOT_FOUND, "no message of yours has this number")


def find_next(connection: Connection, name: str | None) -> Preview | None:
    """Return what a reader is told next; None: nothing waits for them."""
    when = When(datetime.now(UTC), None, at_their_hour=False)
    of = connection.scalar(select(organisation.c.name)) or ""
    for due in find_due(connection, when) if name else ():
        if due.recipient.name == name:
            found = preview_digest(connection, due, of)
            return found and Preview(*found)
    return None


def need_next(connection: Connection, who: Visitor, of: str) -> Preview:
    """Return what a reader is told next, or refuse."""
    found = find_next(connection, choose_reader(who, of))
    if found is None:
        raise Problem(HTTPStatus.NOT_FOUND, "nothing waits to be told")
    return found


def send_once_more(connection: Connection, number: int, who: Visitor, now: datetime) -> bool:
    """Let a message be sent again; return whether it may: it was not delivered, and its address is
    not suspended.
    """
    row = find_message(connection, number, who)
    may = find_state(row, now) != "delivered" and not row.is_suspended
    if may:
        send_again(connection, number)
        about = f"{number}, {row.recipient_name}"
        who.note(connection, "let a message be sent again", about, now)
    return may


def drop_message(
    connection: Connection, number: int, why: str, who: Visitor, now: datetime
) -> bool:
    """Let a message wait no longer; return whether it waited."""
    row = find_message(connection, number, who)
    waits = find_state(row, now) in ("waits", "later", "held")
    if waits:
        end_message(connection, number, "dropped", why, now, who.account.email)
        about = f"{number}, {row.recipient_name}: {why}"
        who.note(connection, "dropped a message", about, now)
    return waits


def let_held_go(connection: Connection, who: Visitor, drops: bool, now: datetime) -> int | None:
    """Let messages go again that are held back, or drop those that wait; return how many these are.

    None: nothing was held back.
    """
    count = let_go(connection, now, who.account.email if drops else None)
    if count is not None:
        what = "dropped what was held back" if drops else "let messages go again"
        who.note(connection, what, "", now)
    return count
