"""The time that all who use a store agree on, and what a clock that was ahead has left in it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from sqlalchemy import Connection, func, select

AHEAD = timedelta(minutes=5)
"""What was kept later than that from now is of a clock that was ahead: as if it were not there."""


def fetch_clock(connection: Connection) -> datetime:
    """Return the time of the database, where it has a clock; else that of this process."""
    if connection.dialect.name == "sqlite":
        return datetime.now(UTC)
    return connection.execute(select(func.clock_timestamp())).scalar_one()


def is_over(since: datetime | None, wait: timedelta, now: datetime) -> bool:
    """Return whether a wait is over that began at an instant; where nothing did, it is."""
    return since is None or since + wait <= now or since > now + AHEAD
