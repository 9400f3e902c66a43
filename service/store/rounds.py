"""The rounds that were run, and what the store says is due."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlalchemy import Connection, delete, func, insert, select, update

from service.store.among import among
from service.store.changes import fetch_changes
from service.store.looks import REST, fetch_last_look_id, has_day_ended
from service.store.partitions import prepare_years
from service.store.shared_clock import AHEAD
from service.store.tables import import_batch, notice, reading, round_, round_seen

WAITS = timedelta(hours=1)
BRIEF_S = 2.0
"""A round that took no longer needs no rest; another rests like outlooks, so many times as long."""


def begin_round(connection: Connection, as_of: date | None, now: datetime) -> int:
    """Keep that a round begins, and make ready for the year to come."""
    prepare_years(connection, reading, (now.year, now.year + 1))
    query = insert(round_).values(as_of=as_of, started_at=now).returning(round_.c.id)
    return connection.execute(query).scalar_one()


def finish_round(
    connection: Connection, round_id: int, at: datetime, blocks: int, notices: int, changes: int
) -> None:
    """Keep when a round is through, what it came to, and how many changes it had seen."""
    connection.execute(
        update(round_)
        .where(round_.c.id == round_id)
        .values(finished_at=at, blocks=blocks, notices=notices)
    )
    connection.execute(insert(round_seen).values(round_id=round_id, changes=changes))


@dataclass(frozen=True)
class LastRound:
    """The last finished round of today's data (no look back): when it began and how long it took.

    took_s : until what it found was kept [s]
    """

    started_at: datetime
    took_s: float


def fetch_last_round(connection: Connection) -> LastRound | None:
    """Return the last round; None: there has been none."""
    query = select(round_.c.started_at, round_.c.finished_at).where(*_OF_TODAY)
    row = connection.execute(query.order_by(round_.c.id.desc()).limit(1)).one_or_none()
    if row is None:
        return None
    return LastRound(row.started_at, (row.finished_at - row.started_at).total_seconds())


def fetch_last_round_at(connection: Connection) -> datetime | None:
    """Return when the last round began; None: there has been none."""
    last = fetch_last_round(connection)
    return last.started_at if last else None


def fetch_first_round_at(connection: Connection) -> datetime | None:
    """Return when the first round that is kept began; None: there has been none."""
    return connection.scalar(select(func.min(round_.c.started_at)).where(*_OF_TODAY))


def prune_rounds(connection: Connection, before: datetime, most: int) -> int:
    """Take out rounds that began before an instant and noted nothing; return how many. The last
    one of today's data stays."""
    last = select(func.max(round_.c.id)).where(*_OF_TODAY).scalar_subquery()
    told = select(notice.c.round_id)
    old = select(round_.c.id).where(round_.c.started_at < before, round_.c.id < last)
    ids = connection.scalars(old.where(round_.c.id.not_in(told)).order_by(round_.c.id).limit(most))
    gone = ids.all()
    connection.execute(delete(round_seen).where(among(round_seen.c.round_id, gone)))
    connection.execute(delete(round_).where(among(round_.c.id, gone)))
    return len(gone)


def fetch_last_kept_at(connection: Connection) -> datetime | None:
    """Return when something was last kept, as far as imports and rounds tell; None: never."""
    columns = (import_batch.c.imported_at, round_.c.started_at)
    kept = [connection.scalar(select(func.max(column))) for column in columns]
    return max((at for at in kept if at is not None), default=None)


def count_changes(connection: Connection) -> int:
    """Return how often what a round reads has changed: readings, and outlooks."""
    return fetch_changes(connection) + (fetch_last_look_id(connection) or 0)


def is_evaluation_due(connection: Connection, now: datetime) -> bool:
    """Return whether readings changed since the last round, or there are new outlooks.

    Where loggers push all the time there is always a change: a long round then rests. The round of
    a day's end waits for outlooks, for an hour at the most.
    """
    last = fetch_last_round(connection)
    if last is None or last.started_at > now + AHEAD:
        return True
    rest_s = (REST + 1) * last.took_s if last.took_s > BRIEF_S else 0.0
    if (now - last.started_at).total_seconds() >= rest_s and has_unseen_changes(connection):
        return True
    return has_day_ended(connection, last.started_at, now - WAITS)


def has_unseen_changes(connection: Connection) -> bool:
    """Return whether something that a round reads has changed since the last one."""
    query = select(round_seen.c.changes).select_from(round_.outerjoin(round_seen)).where(*_OF_TODAY)
    seen = connection.scalar(query.order_by(round_.c.id.desc()).limit(1))
    return seen != count_changes(connection)


_OF_TODAY = (round_.c.finished_at.is_not(None), round_.c.as_of.is_(None))
