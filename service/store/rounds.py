"""The rounds that were run, and what the store says is due."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import Connection, func, insert, select, text, update

from probes.clock import last_ended_day
from service.store.overrules import fetch_last_change
from service.store.partitions import prepare_years
from service.store.tables import import_batch, reading, round_, site

_ROUND_LOCK = 641  # any number, the same for every process


def begin_round(connection: Connection, as_of: date | None, now: datetime) -> int:
    """Keep that a round begins; on PostgreSQL wait until no other one runs (SQLite has one writer
    anyway), and make ready for the year to come."""
    prepare_years(connection, reading, (now.year, now.year + 1))
    if connection.dialect.name == "postgresql":
        connection.execute(text("select pg_advisory_xact_lock(:lock)"), {"lock": _ROUND_LOCK})
    query = insert(round_).values(as_of=as_of, started_at=now).returning(round_.c.id)
    return connection.execute(query).scalar_one()


def finish_round(
    connection: Connection, round_id: int, now: datetime, blocks: int, notices: int
) -> None:
    """Keep that a round is through, and what it came to."""
    connection.execute(
        update(round_)
        .where(round_.c.id == round_id)
        .values(finished_at=now, blocks=blocks, notices=notices)
    )


def fetch_last_round_at(connection: Connection) -> datetime | None:
    """Return when the last finished round of today's data (no look back) began."""
    return connection.scalar(
        select(func.max(round_.c.started_at)).where(
            round_.c.finished_at.is_not(None), round_.c.as_of.is_(None)
        )
    )


def is_evaluation_due(connection: Connection, now: datetime) -> bool:
    """Return whether a day has ended at some site, or readings changed, since the last round."""
    last = fetch_last_round_at(connection)
    if last is None:
        return True
    newest = connection.scalar(select(func.max(import_batch.c.changed_at)))
    for changed_at in (newest, fetch_last_change(connection)):
        if changed_at is not None and changed_at >= last:
            return True
    offsets = connection.scalars(
        select(site.c.utc_offset_min).where(site.c.retired_at.is_(None)).distinct()
    ).all()
    return any(last_ended_day(now, offset) > last_ended_day(last, offset) for offset in offsets)
