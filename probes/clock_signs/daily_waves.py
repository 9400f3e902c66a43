"""The daily wave of soil, day by day: how far it swings, and when it is at its highest."""

from __future__ import annotations

from dataclasses import dataclass
from math import tau

import numpy as np
from numpy.typing import NDArray

DAY_H = 24
DAY_US = 86_400_000_000
ENOUGH_OF_DAY = 0.9


@dataclass(frozen=True)
class DailyWaves:
    """The first harmonic of each day that is nearly whole, as are both of its neighbours.

    wave_c : (n,) complex128, its amplitude and the angle at which it is highest [degC]
    variance : (n,) float64, of the day without its trend [degC2]
    """

    wave_c: NDArray[np.complex128]
    variance: NDArray[np.float64]


def find_daily_waves(
    observed_at: NDArray[np.datetime64],
    soil_temp_c: NDArray[np.float64],
    longitude_deg: float,
    interval_min: float,
) -> DailyWaves:
    """Return the waves of one depth, day by day from midnight to midnight by the mean sun.

    Parameters
    ----------
    observed_at : array of datetime64[us], shape (n,), n > 0
        UTC, in any order.
    soil_temp_c : array of float64, shape (n,)
        Never NaN. [degC]
    longitude_deg : float
        East of Greenwich.
    interval_min : float
        Between readings.
    """
    solar_us = observed_at.astype(np.int64) + round(longitude_deg / 360 * DAY_US)
    day = solar_us // DAY_US
    day -= day.min()
    angle = (solar_us % DAY_US) * (tau / DAY_US)
    count = np.bincount(day)
    n = np.maximum(count, 1)
    mean_c, square, cos_c, sin_c = (
        np.bincount(day, weights) / n
        for weights in (
            soil_temp_c,
            soil_temp_c**2,
            soil_temp_c * np.cos(angle),
            soil_temp_c * np.sin(angle),
        )
    )
    whole = count >= ENOUGH_OF_DAY * 1440 / interval_min
    usable = whole[1:-1] & whole[:-2] & whole[2:]
    trend_c = (mean_c[2:] - mean_c[:-2]) / 2  # of one day
    # a day's ramp has a first harmonic of its own: minus trend / pi in the sine
    wave_c = 2 * cos_c[1:-1] + 1j * (2 * sin_c[1:-1] + trend_c / np.pi)
    variance = square[1:-1] - mean_c[1:-1] ** 2 - trend_c**2 / 12
    return DailyWaves(wave_c[usable], variance[usable])


def hour_of(wave_c: complex | np.complex128) -> float:
    """Return at which hour of the day a wave is highest [h]."""
    return float(np.angle(wave_c) % tau * (DAY_H / tau))
