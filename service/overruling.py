"""A person's word over the checks: kept, and the flags and daily means that follow from it."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import Connection

from service.flags import refresh_flags
from service.store.changes import count_change
from service.store.loggers import Logger, Probe, fetch_logger
from service.store.overrules import Overrule, add_overrule, fetch_overrules, withdraw_overrule

INSTANT = timedelta(microseconds=1)


class UnknownOverruleError(LookupError):
    """There is no such verdict, or it holds no longer."""


def overrule(
    connection: Connection,
    logger: Logger,
    probe: Probe,
    ends: tuple[datetime, datetime],
    flag: int,
    note: str,
    person: str,
    now: datetime,
) -> int:
    """Flag a probe's readings from one instant to another by a person's word; return its number.

    The caller holds the write transaction, and the lock on the logger. Readings that come later
    are flagged by it, too. FrozenError where they are kept as daily means only.
    """
    logger.refuse_frozen(ends[1], "the span")
    number = add_overrule(connection, probe.id, ends, flag, note, person, now)
    refresh_flags(connection, logger, ends[0] - INSTANT, ends[1])
    count_change(connection, logger.id)
    return number


def withdraw(connection: Connection, number: int, person: str, why: str, now: datetime) -> Overrule:
    """Give the readings of a verdict back to the checks, or to an earlier verdict; FrozenError."""
    found = [one for one in fetch_overrules(connection) if one.id == number]
    for one in found:
        fetch_logger(connection, one.logger_id).refuse_frozen(one.last_at, f"overrule {number}")
    if not found or not withdraw_overrule(connection, number, person, why, now):
        holding = [one.id for one in fetch_overrules(connection) if one.withdrawn_at is None]
        known = ", ".join(map(str, holding)) or "none"
        raise UnknownOverruleError(f"no overrule {number} stands; those that do: {known}")
    (one,) = found
    logger = fetch_logger(connection, one.logger_id, lock=True)
    refresh_flags(connection, logger, one.first_at - INSTANT, one.last_at)
    count_change(connection, logger.id)
    return one
