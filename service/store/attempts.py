"""How often something was done, in the store: several processes count together."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Connection, case, delete
from sqlalchemy.dialects import postgresql, sqlite

from service.store.tables import attempt


@dataclass(frozen=True)
class Bound:
    """At most so many of a kind within a span, which begins with the first."""

    kind: str
    most: int
    span: timedelta


@dataclass(frozen=True)
class Count:
    """How many there have been in the span, the last one included, and when it ends."""

    number: int
    most: int
    ends_at: datetime

    @property
    def is_over(self) -> bool:
        """Whether the last one was too many."""
        return self.number > self.most

    @property
    def is_first_over(self) -> bool:
        """Whether it was the first that was too many."""
        return self.number == self.most + 1


def count_attempt(connection: Connection, bound: Bound, of: str, now: datetime) -> Count:
    """Count one attempt of someone; who counts at the same time waits.

    It is counted before it is known whether it succeeds: those who try at once do not get
    more. The caller holds the write transaction.
    """
    dialect = sqlite if connection.dialect.name == "sqlite" else postgresql
    key = {"kind": bound.kind, "of": of}
    row = {**key, "count": 1, "ends_at": now + bound.span}
    upsert = dialect.insert(attempt).values(row)
    has_ended = attempt.c.ends_at <= now
    upsert = upsert.on_conflict_do_update(
        index_elements=list(key),
        set_={
            "count": case((has_ended, 1), else_=attempt.c.count + 1),
            "ends_at": case((has_ended, upsert.excluded.ends_at), else_=attempt.c.ends_at),
        },
    )
    counted = connection.execute(upsert.returning(attempt.c.count, attempt.c.ends_at))
    number, ends_at = counted.one()
    return Count(number, bound.most, ends_at)


def forget_attempts(connection: Connection, bound: Bound, of: str) -> None:
    """Let someone begin anew: they have shown that they may."""
    whose = (attempt.c.kind == bound.kind, attempt.c.of == of)
    connection.execute(delete(attempt).where(*whose))


def forget_ended(connection: Connection, now: datetime) -> None:
    """Drop what no longer bounds anything."""
    connection.execute(delete(attempt).where(attempt.c.ends_at <= now))
