"""Daily means from readings, as a probe's history and its site say."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Engine

from probes.daily import find_daily_means, find_slot_means, slot_hours
from probes.frames import DailyMeans, Readings
from probes.hand_days import find_hand_days
from service.store.daily import fetch_daily_means, store_daily_means
from service.store.daily_packs import find_unpacked, pack_days
from service.store.engine import reading, writing
from service.store.loggers import Logger, Probe, fetch_logger
from service.store.readings import fetch_readings

PACKED_AFTER = timedelta(days=10)
PACKED_EVERY_D = 16
"""Days that are packed together: a pack is written that often while its own days come."""


def find_days(observed_at: NDArray[np.datetime64], utc_offset_min: int) -> NDArray[np.datetime64]:
    """Return the local standard day of each reading; midnight ends a day."""
    local = observed_at + np.timedelta64(utc_offset_min, "m") - np.timedelta64(1, "us")
    return local.astype("datetime64[D]")


def find_stretches(
    probe: Probe, observed_at: NDArray[np.datetime64], utc_offset_min: int
) -> NDArray[np.intp]:
    """Return the place of each reading's stretch, -1 where it has none: older, or past its end."""
    starts = np.array([stretch.valid_from for stretch in probe.stretches], "datetime64[D]")
    days = find_days(observed_at, utc_offset_min)
    place = np.searchsorted(starts, days, side="right") - 1
    for number, stretch in enumerate(probe.stretches):
        if stretch.until is not None:
            place[(place == number) & (days >= np.datetime64(stretch.until, "D"))] = -1
    return place


def find_probe_means(logger: Logger, probe: Probe, readings: Readings) -> DailyMeans:
    """Return a probe's daily means; readings from when it lay nowhere are not used."""
    if logger.by_hand is not None:
        readings, utc_offset_min, _, use_suspect, offset_c = _as_judged(logger, probe, readings)
        stretch = find_stretches(probe, readings.observed_at, utc_offset_min)
        depth_cm = np.array([one.depth_cm for one in probe.stretches])[stretch]
        return find_hand_days(
            readings, utc_offset_min, use_suspect, depth_cm, offset_c, logger.by_hand
        )
    return find_daily_means(*_as_judged(logger, probe, readings))


def find_probe_hours(
    logger: Logger, probe: Probe, readings: Readings
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return the hours, from 1970 in local standard time, that a probe's readings speak for, and
    the mean temperature of each [degC]; a longer slot speaks for each of its hours, an instant that
    was read by hand for none."""
    if logger.by_hand is not None:
        return np.empty(0, np.int64), np.empty(0)
    slot, mean_c = find_slot_means(*_as_judged(logger, probe, readings))
    hours = slot_hours(logger.interval_min)
    return (slot[:, np.newaxis] * hours + np.arange(hours)).ravel(), np.repeat(mean_c, hours)


def _as_judged(
    logger: Logger, probe: Probe, readings: Readings
) -> tuple[Readings, int, float, bool, NDArray[np.float64]]:
    """Return the arguments of `find_daily_means`."""
    stretch = find_stretches(probe, readings.observed_at, logger.utc_offset_min)
    offsets_c = np.array([stretch.calibration_offset_c for stretch in probe.stretches])
    return (
        readings.where(stretch >= 0),
        logger.utc_offset_min,
        logger.interval_min,
        logger.use_suspect,
        offsets_c[stretch[stretch >= 0]],
    )


def refresh_daily_means(connection: Connection, logger: Logger) -> None:
    """Compute all daily means of a logger again: its history, site or interval has changed."""
    for probe in logger.probes:
        readings = fetch_readings(connection, probe.id, after=logger.frozen_until)
        means = find_probe_means(logger, probe, readings)
        first = logger.frozen_before or date.min
        stored = fetch_daily_means(connection, [probe.id], first, date.max)
        store_daily_means(connection, probe.id, stored.day, means)


def pack_daily_means(engine: Engine, now: datetime) -> None:
    """Pack the days that are over for long, so that they are read fast; a logger a transaction."""
    ended = (now - PACKED_AFTER).date()
    before = ended - timedelta(days=ended.toordinal() % PACKED_EVERY_D)
    with reading(engine) as connection:
        unpacked = find_unpacked(connection, before)
    for logger_id, parts in unpacked.items():
        with writing(engine) as connection:
            fetch_logger(connection, logger_id, lock=True)
            pack_days(connection, parts, before)
