"""The readings of a logger, its probes together, as they lie in the ground."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from service.daily_means import find_stretches
from service.store.loggers import Logger, Probe
from service.store.readings import fetch_ends, fetch_readings, fetch_stamps

AT_A_TIME = timedelta(days=30)


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


def iterate_readings(connection: Connection, logger: Logger) -> Iterator[LoggerReadings]:
    """Yield all readings of a logger in order, a month at a time."""
    ends = [end for probe in logger.probes for end in fetch_ends(connection, probe.id)]
    if not ends:
        return
    after = min(ends) - timedelta(microseconds=1)
    while after < max(ends):
        until = after + AT_A_TIME
        parts = [_fetch(connection, logger, probe, after, until) for probe in logger.probes]
        columns = zip(*(vars(part).values() for part in parts), strict=True)
        together = LoggerReadings(*map(np.concatenate, columns))
        yield together.where(np.lexsort((together.depth_cm, together.observed_at)))
        after = until


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
