"""Sending that is held back until a person lets it go on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, delete, insert, select

from service.store.outbox import end_message, fetch_messages
from service.store.tables import sending_hold


@dataclass(frozen=True)
class Hold:
    """Since when nothing is sent, and why."""

    since: datetime
    why: str

    def __str__(self) -> str:
        """Return it in words, with what to do."""
        return (
            f"nothing is sent since {self.since:%Y-%m-%d %H:%M} UTC: {self.why}. "
            "`digseason outbox` shows what waits, `digseason outbox release` lets it go or drops it"
        )


def fetch_hold(connection: Connection) -> Hold | None:
    """Return what holds sending back; None: nothing does."""
    row = connection.execute(select(sending_hold.c.since, sending_hold.c.why)).one_or_none()
    return Hold(*row) if row else None


def hold_sending(connection: Connection, why: str, now: datetime) -> None:
    """Send nothing from now on."""
    _release(connection)
    connection.execute(insert(sending_hold).values(id=1, since=now, why=why))


def let_go(connection: Connection, now: datetime, dropped_by: str | None = None) -> int | None:
    """Let messages go again, or drop what waits by a person's word; return how many wait.

    None: nothing was held back.
    """
    waiting = [row for row in fetch_messages(connection, with_delivered=False) if not row.ended]
    if not _release(connection):
        return None
    for row in waiting if dropped_by else ():
        end_message(connection, row.id, "dropped", "told before a restore", now, dropped_by)
    return len(waiting)


def _release(connection: Connection) -> bool:
    return bool(connection.execute(delete(sending_hold)).rowcount)
