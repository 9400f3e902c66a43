"""Readings into the store, probe by probe, and the daily means of the days they touch."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from probes.frames import Readings
from service.daily_means import find_days, find_probe_means
from service.intake.merging import Findings, merge_readings
from service.store.daily import store_daily_means
from service.store.loggers import Logger, Probe
from service.store.readings import (
    fetch_readings,
    insert_readings,
    insert_shifted_stamps,
    list_conflicts,
)


def fetch_days(
    connection: Connection, logger: Logger, probe: Probe, observed_at: NDArray[np.datetime64]
) -> Readings:
    """Return what the store holds of a probe over the days of a delivery, those days whole."""
    if not observed_at.size:
        return Readings(observed_at, np.empty(0), np.empty(0, np.int8))
    days = find_days(np.array([observed_at.min(), observed_at.max()]), logger.utc_offset_min)
    return fetch_readings(connection, probe.id, *span_of_days(logger, *days.tolist()))


def span_of_days(logger: Logger, first: date, last: date) -> tuple[datetime, datetime]:
    """Return after and until which instants the readings of some days of a site lie."""
    offset = timedelta(minutes=logger.utc_offset_min)
    after, until = (datetime.combine(day, time(), UTC) - offset for day in (first, last))
    return after, until + timedelta(days=1)


def keep_findings(
    connection: Connection,
    logger: Logger,
    probe: Probe,
    batch_id: int,
    stored: Readings,
    findings: Findings,
    shift: NDArray[np.timedelta64] | None,
) -> None:
    """Put what is new into the store, and compute the days it touches again."""
    insert_readings(connection, probe.id, batch_id, findings.new)
    list_conflicts(connection, probe.id, batch_id, findings.other_at, findings.other_c)
    if shift is not None:
        new_shift = shift[findings.new_place]
        insert_shifted_stamps(connection, probe.id, findings.new.observed_at, new_shift)
    days = np.unique(find_days(findings.new.observed_at, logger.utc_offset_min))
    readings = merge_readings(stored, findings.new)
    touched = np.isin(find_days(readings.observed_at, logger.utc_offset_min), days)
    means = find_probe_means(logger, probe, readings.where(touched))
    store_daily_means(connection, probe.id, days, means)
