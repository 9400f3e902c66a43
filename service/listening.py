"""From the store to how each logger and station stands: what has come of it, and what is late."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from sqlalchemy import Connection

from alerts.silence import (
    SHORTEST,
    Heard,
    ProbeHeard,
    Standing,
    find_cadence,
    find_standings,
    find_usual,
)
from probes.clock import last_ended_day
from service.store.loggers import Logger, fetch_logger
from service.store.sources import (
    SourceRow,
    fetch_deliveries,
    fetch_last_instants,
    find_first_arrival,
)

MOST_DELIVERIES = 40
MOST_OF_A_BURST = 5_000  # of a logger that sends a day's readings one by one, all at once

Key = int | None
"""One of a logger's probes, or all of it."""


@dataclass(frozen=True)
class Listened:
    """A logger or station with what has come of it; None: nothing yet."""

    source: SourceRow
    logger: Logger
    heard: Heard | None

    def find_standings(self, now: datetime, factor: float) -> dict[Key, Standing]:
        """Return how it and its probes stand; `factor` holds where the farm file says none."""
        if self.heard is None:
            return {}
        return find_standings(self.heard, now, self.source.silent_factor or factor)


def listen(connection: Connection, source: SourceRow) -> Listened:
    """Return a logger or station with what has come of it."""
    logger = fetch_logger(connection, source.id)
    first_at = find_first_arrival(connection, source.id)
    if first_at is None:
        return Listened(source, logger, None)
    interval = timedelta(minutes=logger.interval_min)
    cadence = find_cadence(fetch_deliveries(connection, source.id, MOST_DELIVERIES), interval)
    if cadence is None:
        cadence = find_cadence(fetch_deliveries(connection, source.id, MOST_OF_A_BURST), interval)
    probes = {}
    for probe_id, ends in source.probes.items():
        instants = fetch_last_instants(connection, probe_id)
        between = [later - one for one, later in pairwise(instants)]
        probes[probe_id] = ProbeHeard(ends.newest_at, find_usual(between) if between else interval)
    return Listened(source, logger, Heard(first_at, cadence, probes))


def is_fresh(source: SourceRow, now: datetime) -> bool:
    """Return whether nothing of a logger is so late that it could count as silent."""
    return all(now - ends.newest_at < SHORTEST for ends in source.probes.values())


def find_depth_cm(logger: Logger, key: Key, now: datetime) -> float | None:
    """Return the depth of a probe today; None for all of a logger."""
    if key is None:
        return None
    stretches = next(probe.stretches for probe in logger.probes if probe.id == key)
    yesterday = last_ended_day(now, logger.utc_offset_min)
    begun = [stretch for stretch in stretches if stretch.valid_from <= yesterday]
    return (begun or stretches[:1])[-1].depth_cm
