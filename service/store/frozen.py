"""From which day on readings are kept: before it there are daily means only."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import Connection, delete, insert, select

from service.store.tables import frozen


class FrozenError(Exception):
    """What would change readings that are kept as daily means only, or cannot be so."""


def fetch_frozen(connection: Connection) -> date | None:
    """Return the day before which readings are kept as daily means only; None: all are kept."""
    return connection.scalar(select(frozen.c.before))


def freeze(connection: Connection, before: date, now: datetime) -> None:
    """Keep that readings before a day are kept as daily means only."""
    connection.execute(delete(frozen))
    connection.execute(insert(frozen).values(id=1, before=before, decided_at=now))


def describe_frozen(before: date) -> str:
    """Return in words that readings before a day are kept as daily means only."""
    return f"readings before {before} are kept as daily means only"
