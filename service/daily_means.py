"""Daily means from readings, as a probe's history and its site say."""

from __future__ import annotations

from datetime import date

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from probes.daily import find_daily_means
from probes.frames import DailyMeans, Readings
from service.store.daily import fetch_daily_means, store_daily_means
from service.store.loggers import Logger, Probe
from service.store.readings import fetch_readings


def find_days(observed_at: NDArray[np.datetime64], utc_offset_min: int) -> NDArray[np.datetime64]:
    """Return the local standard day of each reading; midnight ends a day."""
    local = observed_at + np.timedelta64(utc_offset_min, "m") - np.timedelta64(1, "us")
    return local.astype("datetime64[D]")


def find_probe_means(logger: Logger, probe: Probe, readings: Readings) -> DailyMeans:
    """Return a probe's daily means; readings older than its first stretch are not used."""
    starts = np.array([stretch.valid_from for stretch in probe.stretches], "datetime64[D]")
    offsets_c = np.array([stretch.calibration_offset_c for stretch in probe.stretches])
    days = find_days(readings.observed_at, logger.utc_offset_min)
    stretch = np.searchsorted(starts, days, side="right") - 1
    return find_daily_means(
        readings.where(stretch >= 0),
        logger.utc_offset_min,
        logger.layout_spec["interval_min"],
        logger.use_suspect,
        offsets_c[stretch[stretch >= 0]],
    )


def refresh_daily_means(connection: Connection, logger: Logger) -> None:
    """Compute all daily means of a logger again: its history, site or interval has changed."""
    for probe in logger.probes:
        means = find_probe_means(logger, probe, fetch_readings(connection, probe.id))
        stored = fetch_daily_means(connection, [probe.id], date.min, date.max)
        store_daily_means(connection, probe.id, stored.day, means)
