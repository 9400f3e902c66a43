"""When outlooks of all blocks were found, and whether they are to be found again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Connection, delete, func, insert, select

from probes.clock import last_ended_day
from service.store.changes import fetch_changes
from service.store.shared_clock import AHEAD
from service.store.tables import look_ahead, site

REST = 10
"""Readings that change do not have outlooks found again before so many times as long as it took."""


@dataclass(frozen=True)
class Look:
    """Outlooks that were found, by what changes of readings, and how long that took [s]."""

    started_at: datetime
    changes: int
    took_s: float


def keep_look(connection: Connection, look: Look) -> None:
    """Keep that the outlooks of all blocks were found and kept."""
    connection.execute(insert(look_ahead).values(vars(look)))


def prune_looks(connection: Connection, before: datetime, most: int) -> int:
    """Take out looks that began before an instant, but the last; return how many."""
    last = select(func.max(look_ahead.c.id)).scalar_subquery()
    old = look_ahead.c.started_at < before, look_ahead.c.id < last
    ids = select(look_ahead.c.id).where(*old).order_by(look_ahead.c.id).limit(most)
    return connection.execute(delete(look_ahead).where(look_ahead.c.id.in_(ids))).rowcount


def fetch_last_look_id(connection: Connection) -> int | None:
    """Return the number of the last look; None: there has been none."""
    return connection.scalar(select(func.max(look_ahead.c.id)))


def fetch_last_look(connection: Connection) -> Look | None:
    """Return the last look; None: there has been none."""
    columns = (look_ahead.c[name] for name in Look.__dataclass_fields__)
    query = select(*columns).order_by(look_ahead.c.id.desc()).limit(1)
    row = connection.execute(query).one_or_none()
    return Look(*row) if row else None


def is_look_due(connection: Connection, now: datetime) -> bool:
    """Return whether a day has ended at some site since the last look, or readings changed."""
    last = fetch_last_look(connection)
    if last is None or last.started_at > now + AHEAD:
        return True
    rested = now - last.started_at >= timedelta(seconds=(REST + 1) * last.took_s)
    is_changed = rested and last.changes != fetch_changes(connection)
    return is_changed or has_day_ended(connection, last.started_at, now)


def has_day_ended(connection: Connection, since: datetime, until: datetime) -> bool:
    """Return whether a day has ended at some site between two instants."""
    offsets = connection.scalars(
        select(site.c.utc_offset_min).where(site.c.retired_at.is_(None)).distinct()
    ).all()
    return any(last_ended_day(until, of) > last_ended_day(since, of) for of in offsets)
