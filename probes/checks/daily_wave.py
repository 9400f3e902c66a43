"""The daily wave of a logger's probes: how large it is and when it peaks, hour by hour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import tau

import numpy as np
from numpy.typing import NDArray

from probes.checks.series import US_PER_HOUR, ProbeSeries

DAY_H = 24

TOLERANCE = 1e-6
"""By which a measure must pass its limit: sums that began elsewhere differ in their last digits,
and a flag must not hang on how many readings were at hand. [degC], [h]"""


@dataclass(frozen=True)
class DailyWaves:
    """What each probe did over some whole days up to each full hour; NaN where not covered.

    first_hour : since 1970, of row 0; the hours are consecutive [h]
    wave_c : (m, k) complex128, its size the amplitude, its angle the phase [degC]
    mean_c : (m, k) float64, over the last day [degC]
    """

    first_hour: int
    wave_c: NDArray[np.complex128]
    mean_c: NDArray[np.float64]

    def rows(self, series: ProbeSeries) -> NDArray[np.int64]:
        """Return for each reading the row of the last full hour, -1 where there is none."""
        return np.maximum(series.at_us // US_PER_HOUR - self.first_hour, -1)


def find_daily_waves(
    probes: Sequence[ProbeSeries], calm: Sequence[ProbeSeries], days: int, longest_gap_h: float
) -> DailyWaves:
    """Return the daily waves of probes by harmonic analysis.

    Parameters
    ----------
    probes : sequence of ProbeSeries, k probes
        What is judged by the waves: the hours reach over all their readings.
    calm : sequence of ProbeSeries, k probes
        Those of their readings that the waves are taken from.
    days : int
        Over which the wave is taken; a further day before them levels what is no wave. [d]
    longest_gap_h : float
        Between readings that cover the days. [h]

    Readings are averaged by the hour in which they end, so that a reading half past nine counts
    from ten on.
    """
    ends = [hour for probe in probes if probe.at_us.size for hour in _hour_of(probe)[[0, -1]]]
    first = int(min(ends, default=0))
    hours = int(max(ends, default=-1)) - first + 1
    waves = DailyWaves(
        first, np.empty((hours, len(probes)), np.complex128), np.empty((hours, len(probes)))
    )
    for place, probe in enumerate(calm):
        found = _analyse(probe, first, hours, days, longest_gap_h)
        waves.wave_c[:, place], waves.mean_c[:, place] = found
    return waves


def _hour_of(series: ProbeSeries) -> NDArray[np.int64]:
    """Return the hour in which each reading ends."""
    return -(-series.at_us // US_PER_HOUR)


def _analyse(
    series: ProbeSeries, first: int, hours: int, days: int, longest_gap_h: float
) -> tuple[NDArray[np.complex128], NDArray[np.float64]]:
    """Return the wave and the mean of one probe, for each hour."""
    place = _hour_of(series) - first
    count = np.bincount(place, minlength=hours)
    present = count > 0
    value_c = np.bincount(place, series.soil_temp_c, hours) / np.maximum(count, 1)

    hour = np.arange(hours)
    age_h = hour - np.maximum.accumulate(np.where(present, hour, -hours - DAY_H))
    window_h = DAY_H * days
    covered = _trailing(age_h >= longest_gap_h, window_h + DAY_H) == 0
    covered[: window_h + DAY_H - 1] = False

    mean_c = _trailing(value_c, DAY_H) / np.maximum(_trailing(present, DAY_H), 1)
    # A pure daily wave has no mean over a day: taking it off leaves the wave and levels a trend.
    level_c = np.where(present, value_c - mean_c, 0.0)
    turning = level_c * np.exp(-1j * tau / DAY_H * (hour % DAY_H))
    wave_c = 2 * _trailing(turning, window_h) / np.maximum(_trailing(present, window_h), 1)
    return np.where(covered, wave_c, np.nan), np.where(covered, mean_c, np.nan)


def _trailing(value: NDArray, width: int) -> NDArray:
    """Return the sum over the last `width` places up to each; fewer at the start."""
    total = np.cumsum(value, axis=0, dtype=np.result_type(value.dtype, np.int64))
    total[width:] -= total[:-width].copy()
    return total
