"""Sending that is held back until a person lets it go on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, delete, insert, select

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
    release_sending(connection)
    connection.execute(insert(sending_hold).values(id=1, since=now, why=why))


def release_sending(connection: Connection) -> bool:
    """Let messages go again; return whether they were held."""
    return bool(connection.execute(delete(sending_hold)).rowcount)
