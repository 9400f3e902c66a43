"""Who has dug a block in a window, and hears no more of that window but its close."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import ColumnElement, Connection, delete, insert, select, update

from alerts.notices import Notice
from alerts.windows import Kind
from service.store.tables import block, dug, notice, notice_recipient


class Window(NamedTuple):
    """A window of a block."""

    block_id: str
    season: int
    kind: Kind


def fetch_dug(connection: Connection, recipient_name: str) -> dict[Window, datetime]:
    """Return the windows that a reader has dug in, with when they said so."""
    return _fetch_dug(connection, dug.c.recipient_name == recipient_name).get(recipient_name, {})


def fetch_all_dug(connection: Connection) -> dict[str, dict[Window, datetime]]:
    """Return the same of all readers who have dug."""
    return _fetch_dug(connection)


def _fetch_dug(
    connection: Connection, *of_whom: ColumnElement[bool]
) -> dict[str, dict[Window, datetime]]:
    window = [dug.c[name] for name in Window._fields]
    query = select(dug.c.recipient_name, *window, dug.c.said_at).where(
        *of_whom, dug.c.taken_back_at.is_(None)
    )
    found: defaultdict[str, dict[Window, datetime]] = defaultdict(dict)
    for row in connection.execute(query):
        found[row.recipient_name][Window(row.block_id, row.season, row.kind)] = row.said_at
    return dict(found)


def say_dug(
    connection: Connection, recipient_name: str, window: Window, how: str, now: datetime
) -> None:
    """Keep that a reader has dug in a window; said again it stays as it was."""
    if window in fetch_dug(connection, recipient_name):
        return
    key = {"recipient_name": recipient_name, **window._asdict()}
    where = [dug.c[name] == value for name, value in key.items()]
    connection.execute(delete(dug).where(*where))
    connection.execute(insert(dug).values(**key, said_at=now, how=how))


def take_dug_back(
    connection: Connection, recipient_name: str, window: Window, now: datetime
) -> None:
    """Let a reader hear of a window again."""
    key = {"recipient_name": recipient_name, **window._asdict()}
    where = [dug.c[name] == value for name, value in key.items()]
    connection.execute(
        update(dug).where(*where, dug.c.taken_back_at.is_(None)).values(taken_back_at=now)
    )


def is_close(one: Notice) -> bool:
    """Whether a notice tells of a close, which who has dug hears too."""
    return one.closed_on is not None or one.what in ("closed", "probably closed", "season summary")


def leave_out_dug(
    notices: Mapping[int, Notice], said: Mapping[Window, datetime]
) -> tuple[dict[int, Notice], set[int]]:
    """Return the notices that are told, and the ids of those of their windows that are not.

    What is left out waits until its window's close is told, or it is taken back.
    """
    told = {i: one for i, one in notices.items() if is_close(one) or window_of(one) not in said}
    closed = {window_of(one) for one in told.values()}
    return told, {i for i, one in notices.items() if i not in told and window_of(one) in closed}


def find_open(notices: Mapping[int, Notice]) -> dict[int, str]:
    """Return the names of the blocks that are open by these, each by the last that says so."""
    last = {window_of(one): (i, one) for i, one in sorted(notices.items())}
    return {
        i: one.block_name
        for i, one in last.values()
        if not is_close(one) and (one.opened_on is not None or one.what == "probably open")
    }


def window_of(one: Notice) -> Window:
    """Return the window that a notice is about."""
    return Window(one.block_id, one.season, one.kind)


def fetch_window(connection: Connection, notice_id: int) -> tuple[Window, str] | None:
    """Return the window of a notice, and the name of its block."""
    query = (
        select(notice.c.block_id, notice.c.season, notice.c.kind, block.c.name)
        .join(block, block.c.id == notice.c.block_id)
        .where(notice.c.id == notice_id)
    )
    row = connection.execute(query).one_or_none()
    return None if row is None else (Window(*row[:3]), row[3])


def fetch_open_windows(connection: Connection, recipient_name: str) -> dict[Window, str]:
    """Return the windows that a reader was told are open, with the names of their blocks."""
    columns = [notice.c[name] for name in ("block_id", "season", "kind", "what")]
    query = (
        select(*columns, notice.c.opened_on, notice.c.closed_on, block.c.name)
        .join(block, block.c.id == notice.c.block_id)
        .join(notice_recipient, notice_recipient.c.notice_id == notice.c.id)
        .where(notice_recipient.c.recipient_name == recipient_name)
        .order_by(notice.c.id)
    )
    found: dict[str, tuple[Window, bool, str]] = {}
    for row in connection.execute(query):
        is_open = row.what == "probably open" or (row.opened_on and row.closed_on is None)
        found[row.block_id] = Window(row.block_id, row.season, row.kind), bool(is_open), row.name
    return {window: name for window, is_open, name in found.values() if is_open}
