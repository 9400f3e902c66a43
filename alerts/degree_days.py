"""Degree-days between a lower and an upper threshold: from hourly readings, or a day's extremes.

The horizontal cut-off: above the upper threshold a degree more adds nothing. Temperatures and
thresholds share one scale, and degree-days are of that scale. Soil has hourly readings, which are
summed as they are; the sine and the triangle stand in for them where only daily extremes of the air
are known.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

HOURS = 24


def by_hours(hourly: NDArray[np.float64], lower: float, upper: float) -> NDArray[np.float64]:
    """Return the degree-days of each day from its hourly temperatures.

    Parameters
    ----------
    hourly : array, shape (..., 24)
        Mean temperature of each hour; a NaN leaves its day without a value. [degC or degF]
    lower, upper : float
        Thresholds. [as `hourly`]

    Returns
    -------
    array, shape (...,)
        [degree-days of that scale]
    """
    return (np.clip(hourly, lower, upper) - lower).sum(axis=-1) / HOURS


def by_day_means(mean: NDArray[np.float64], lower: float, upper: float) -> NDArray[np.float64]:
    """Return the degree-days of days of which only the mean is known, NaN where it is not.

    Deep in the soil, where a day hardly varies, that is what its hours give. Parameters as of
    `by_hours`, a mean for each day.
    """
    return np.clip(mean, lower, upper) - lower


def by_sine(
    coldest: NDArray[np.float64], warmest: NDArray[np.float64], lower: float, upper: float
) -> NDArray[np.float64]:
    """Return the degree-days under one sine a day through its extremes.

    Parameters
    ----------
    coldest, warmest : array, of one shape
        Of each day; a NaN leaves its day without a value. [degC or degF]
    lower, upper : float
        Thresholds. [as the extremes]

    References
    ----------
    [BASKERVILLE-1969]; [ZALOM-1983] for the cut-off.
    """
    middle, half = (warmest + coldest) / 2, (warmest - coldest) / 2

    def above(threshold: float) -> NDArray[np.float64]:
        """Return the mean over the day of what exceeds a threshold."""
        reached = np.clip(threshold, coldest, warmest) - middle
        turn = np.arcsin(np.clip(reached / np.where(half > 0, half, 1.0), -1.0, 1.0))
        return ((middle - threshold) * (np.pi / 2 - turn) + half * np.cos(turn)) / np.pi

    return _where_it_varies(above(lower) - above(upper), coldest, warmest, lower, upper)


def by_triangle(
    coldest: NDArray[np.float64], warmest: NDArray[np.float64], lower: float, upper: float
) -> NDArray[np.float64]:
    """Return the degree-days under straight lines up and down between a day's extremes.

    Parameters as of `by_sine`.

    References
    ----------
    [ZALOM-1983].
    """
    spread = np.where(warmest > coldest, warmest - coldest, 1.0)

    def above(threshold: float) -> NDArray[np.float64]:
        """Return the mean over the day of what exceeds a threshold."""
        tip = warmest - np.clip(threshold, coldest, warmest)
        return tip**2 / (2 * spread) + np.maximum(coldest - threshold, 0.0)

    return _where_it_varies(above(lower) - above(upper), coldest, warmest, lower, upper)


def _where_it_varies(
    found: NDArray[np.float64],
    coldest: NDArray[np.float64],
    warmest: NDArray[np.float64],
    lower: float,
    upper: float,
) -> NDArray[np.float64]:
    """Return what a curve gave, and on a day of one temperature what that gives."""
    return np.where(warmest == coldest, np.clip(coldest, lower, upper) - lower, found)
