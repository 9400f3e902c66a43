"""The readings of a logger, its probes together, as they lie in the ground."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from service.daily_means import find_probe_hours, find_stretches
from service.store.loggers import Logger, Probe
from service.store.readings import fetch_ends, fetch_readings, fetch_stamps

AT_A_TIME = timedelta(days=30)
INSTANT, DAY = timedelta(microseconds=1), timedelta(days=1)


@dataclass(frozen=True)
class LoggerReadings:
    """Readings of several probes, by time, then depth.

    observed_at : (n,) datetime64[us], UTC
    depth_cm : (n,) float64, NaN where the reading is from when the probe lay nowhere
    soil_temp_c : (n,) float64, as the logger has it
    flag : (n,) int8, QARTOD
    stamped_at : (n,) datetime64[us], by the logger's clock as it was; NaT where it was right
    """

    observed_at: NDArray[np.datetime64]
    depth_cm: NDArray[np.float64]
    soil_temp_c: NDArray[np.float64]
    flag: NDArray[np.int8]
    stamped_at: NDArray[np.datetime64]

    def where(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> LoggerReadings:
        """Return some of the readings."""
        return LoggerReadings(*(column[which] for column in vars(self).values()))


def iterate_readings(
    connection: Connection,
    logger: Logger,
    after: datetime | None = None,
    until: datetime | None = None,
) -> Iterator[LoggerReadings]:
    """Yield the readings of a logger in order, a month at a time.

    All, or those later than one instant, up to and including another.
    """
    for begin, end in _iterate_months(connection, logger, after, until, INSTANT):
        parts = [_fetch(connection, logger, probe, begin, end) for probe in logger.probes]
        yield _join(parts)


@dataclass(frozen=True)
class LoggerHours:
    """Hourly means of several probes, by time, then depth.

    observed_at : (n,) datetime64[us], UTC; the end of each hour of the site's standard time
    depth_cm : (n,) float64
    soil_temp_c : (n,) float64, the mean of the usable readings, corrected by the calibration
    """

    observed_at: NDArray[np.datetime64]
    depth_cm: NDArray[np.float64]
    soil_temp_c: NDArray[np.float64]

    def where(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> LoggerHours:
        """Return some of the hours."""
        return LoggerHours(*(column[which] for column in vars(self).values()))


Part = TypeVar("Part", LoggerReadings, LoggerHours)


def iterate_hours(
    connection: Connection, logger: Logger, after: datetime | None, until: datetime | None
) -> Iterator[LoggerHours]:
    """Yield the hourly means of a logger in order, a month or less at a time, as its readings.

    A slot that is longer than an hour speaks for each of its hours.
    """
    for begin, end in _iterate_months(connection, logger, after, until, DAY):
        parts: list[LoggerHours] = []
        for probe in logger.probes:
            readings = fetch_readings(connection, probe.id, begin - DAY, end + DAY)
            hour, mean_c = find_probe_hours(logger, probe, readings)
            end_min = 60 * (hour + 1) - logger.utc_offset_min
            observed_at = end_min.astype("datetime64[m]").astype("datetime64[us]")
            depths_cm = np.array([stretch.depth_cm for stretch in probe.stretches] + [np.nan])
            stretch = find_stretches(probe, observed_at, logger.utc_offset_min)
            hours = LoggerHours(observed_at, depths_cm[stretch], mean_c)
            first, last = (np.datetime64(one.replace(tzinfo=None), "us") for one in (begin, end))
            parts.append(hours.where((observed_at > first) & (observed_at <= last)))
        yield _join(parts)


def _join(parts: Sequence[Part]) -> Part:
    """Return what several probes have, by time, then depth."""
    columns = zip(*(vars(part).values() for part in parts), strict=True)
    together = type(parts[0])(*map(np.concatenate, columns))
    return together.where(np.lexsort((together.depth_cm, together.observed_at)))


def _iterate_months(
    connection: Connection,
    logger: Logger,
    after: datetime | None,
    until: datetime | None,
    around: timedelta,
) -> Iterator[tuple[datetime, datetime]]:
    """Yield spans, later than and up to, that hold all that a logger has between two instants, as
    far as that lies around its readings."""
    ends = [end for probe in logger.probes for end in fetch_ends(connection, probe.id)]
    if not ends:
        return
    begin = max(min(ends) - around, after or datetime.min.replace(tzinfo=UTC))
    last = min(max(ends) + around, until or datetime.max.replace(tzinfo=UTC))
    while begin < last:
        end = min(begin + AT_A_TIME, last)
        yield begin, end
        begin = end


def _fetch(
    connection: Connection, logger: Logger, probe: Probe, after: datetime, until: datetime
) -> LoggerReadings:
    readings = fetch_readings(connection, probe.id, after, until)
    depths_cm = np.array([stretch.depth_cm for stretch in probe.stretches] + [np.nan])
    stretch = find_stretches(probe, readings.observed_at, logger.utc_offset_min)
    corrected = fetch_stamps(connection, probe.id, after, until)
    stamped_at = np.full(stretch.size, "NaT", "datetime64[us]")
    place = np.searchsorted(readings.observed_at, corrected["observed_at"])
    stamped_at[place] = corrected["stamped_at"]
    return LoggerReadings(
        readings.observed_at, depths_cm[stretch], readings.soil_temp_c, readings.flag, stamped_at
    )
