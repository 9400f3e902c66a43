"""Old readings that leave the store, their daily means kept: what would go, and letting it go.

From then on a day stands before which nothing changes any more: whatever brings readings, takes
them back or judges them anew leaves these days as they are (`Logger.frozen_until`). The last weeks
before it stay, since the checks of later readings look back upon them; so do the last weeks of each
probe, however old, which tell when it fell silent.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import ceil

import numpy as np
from sqlalchemy import Connection, Engine, select

from probes.checks import reach
from service.rule_sets import fetch_rules
from service.store import tables
from service.store.blocks import fetch_blocks
from service.store.copying import Progress
from service.store.engine import reading, writing
from service.store.frozen import FrozenError, fetch_frozen, freeze
from service.store.imports import delete_contents, measure_contents
from service.store.loggers import Logger, fetch_logger
from service.store.partitions import (
    drop_empty_years,
    empty_year,
    find_whole_years,
    shrink_year,
)
from service.store.readings import count_readings, delete_old_readings, fetch_ends
from service.unchecked import flag_unchecked

SHORTEST = timedelta(days=365)
"""Anything younger may still be corrected, and tells this season from the last."""


@dataclass(frozen=True)
class LoggerShare:
    """What goes of one logger: readings, and what deliveries held, packed."""

    logger_id: str
    first_at: datetime
    readings: int
    deliveries: int
    content_bytes: int


@dataclass(frozen=True)
class Gone:
    """How many readings have left, and of how many deliveries the content."""

    readings: int = 0
    deliveries: int = 0

    def __add__(self, other: Gone) -> Gone:
        """Return both together."""
        return Gone(self.readings + other.readings, self.deliveries + other.deliveries)


def check_retention(connection: Connection, before: date, today: date) -> None:
    """Raise FrozenError, with what to do, where readings before a day cannot leave."""
    if before > today - SHORTEST:
        raise FrozenError(f"keep a year of readings at least: until {today - SHORTEST} or earlier")
    now_before = fetch_frozen(connection)
    if now_before is not None and before < now_before:
        raise FrozenError(
            f"readings before {now_before} have left already; a backup from before still has them"
        )
    rules = fetch_rules(connection)
    by_hours = [one.id for one in fetch_blocks(connection) if rules[one.rule].degree_days]
    if by_hours:
        raise FrozenError(
            f"the rule of {', '.join(by_hours)} sums degree-days by the hour, of each season there "
            "is: it needs the readings. Give these blocks a rule without degree-days first"
        )


def find_shares(connection: Connection, before: date) -> Iterator[LoggerShare]:
    """Yield what would go of each logger that has something to give."""
    for logger_id in _logger_ids(connection):
        logger = fetch_logger(connection, logger_id)
        until = logger.begin_of(before)
        deliveries, size = measure_contents(connection, logger_id, until)
        ends = _find_ends(connection, logger, until)
        counts = [count_readings(connection, probe_id, end) for probe_id, end in ends.items()]
        firsts = [fetch_ends(connection, probe_id)[0] for probe_id in ends]
        if any(counts) or deliveries:
            first_at = min(firsts, default=until)
            yield LoggerShare(logger_id, first_at, sum(counts), deliveries, size)


def let_go(
    engine: Engine, before: date, now: datetime, progress: Progress = lambda _: None
) -> Gone:
    """Let the readings before a day leave; return what has left.

    May be broken off and run again. Each probe is one short transaction, after the day stands; on
    PostgreSQL each year that is over by then is one for all probes, since to delete the rows of
    most probes one by one would take many times as long.
    """
    flag_unchecked(engine)
    with writing(engine) as connection:
        check_retention(connection, before, now.date())
        freeze(connection, before, now)
    with reading(engine) as connection:
        logger_ids = _logger_ids(connection)
    gone = Gone()
    ends: dict[str, dict[int, datetime]] = {}
    untils: dict[str, datetime] = {}
    for logger_id in logger_ids:  # who has had the lock since the day stands, brings nothing older
        with writing(engine) as connection:
            logger = fetch_logger(connection, logger_id, lock=True)
            until = untils[logger_id] = logger.begin_of(before)
            gone += Gone(deliveries=delete_contents(connection, logger_id, until))
            ends[logger_id] = _find_ends(connection, logger, until)
    gone += _empty_years(engine, before, ends.values())
    for done, (logger_id, of_logger) in enumerate(ends.items()):
        for probe_id, end in of_logger.items():
            with writing(engine) as connection:
                fetch_logger(connection, logger_id, lock=True)
                until = untils[logger_id]
                gone += Gone(delete_old_readings(connection, probe_id, end, until))
        progress((done + 1) / len(logger_ids))
    with writing(engine) as connection:
        drop_empty_years(connection, tables.reading, before.year)
    return gone


def _empty_years(engine: Engine, before: date, ends: Iterable[Mapping[int, datetime]]) -> Gone:
    """Let go what lies in years that are over, all probes at once where they are partitions."""
    with reading(engine) as connection:
        years = find_whole_years(connection, tables.reading, before.year)
    of_all = {probe_id: end for of_logger in ends for probe_id, end in of_logger.items()}
    gone = Gone()
    for year in years:
        with writing(engine) as connection:
            gone += Gone(empty_year(connection, tables.reading, year, of_all))
        shrink_year(engine, tables.reading, year)
    return gone


def _logger_ids(connection: Connection) -> list[str]:
    return list(connection.scalars(select(tables.logger.c.id).order_by(tables.logger.c.id)))


def _find_ends(connection: Connection, logger: Logger, until: datetime) -> dict[int, datetime]:
    """Return up to which instant the readings of each probe leave, where any do."""
    stays = find_margin(logger)
    ends: dict[int, datetime] = {}
    for probe in logger.probes:
        found = fetch_ends(connection, probe.id)
        if found:
            end = min(until, found[-1]) - stays
            if found[0] <= end:
                ends[probe.id] = end
    return ends


def find_margin(logger: Logger) -> timedelta:
    """Return how far the checks look back from a reading, earlier years aside; whole days."""
    depths_cm = [stretch.depth_cm for probe in logger.probes for stretch in probe.stretches]
    tests = [test for test in logger.checks.tests if test != "climatology"]
    looks = reach(logger.checks.thresholds, max(depths_cm, default=0.0), tests)
    back: timedelta = np.timedelta64(looks.before, "us").item()
    return timedelta(days=ceil(back / timedelta(days=1)) + 1)
