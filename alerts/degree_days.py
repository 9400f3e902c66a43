"""Degree-days between a lower and an upper threshold, from hourly temperatures or a day's mean.

The horizontal cut-off: above the upper threshold a degree more adds nothing. Temperatures and
thresholds share one scale, and degree-days are of that scale.
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

    References
    ----------
    [ZALOM-1983] for the cut-off.
    """
    return (np.clip(hourly, lower, upper) - lower).sum(axis=-1) / HOURS


def by_day_means(mean: NDArray[np.float64], lower: float, upper: float) -> NDArray[np.float64]:
    """Return the degree-days of days of which only the mean is known, NaN where it is not.

    Deep in the soil, where a day hardly varies, that is what its hours give. Parameters as of
    `by_hours`, a mean for each day.
    """
    return np.clip(mean, lower, upper) - lower
