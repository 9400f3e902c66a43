"""Reference curve R [REFERENCE-R]: a yearly wave that reaches down into the soil, in closed form.

Time t counts days from 1 January 00:00, so day number n of the year lies between t = n - 1 and n.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

MEAN_C, SURFACE_AMPLITUDE_C = 13.5, 11.5
COLDEST_DAY = 20.0
PERIOD_DAYS = 365.0
OMEGA = 2 * np.pi / PERIOD_DAYS
DAMPING_DEPTH_M = np.sqrt(5e-7 * 86_400 * PERIOD_DAYS / np.pi)


def soil_temp_c(
    depth_m: float, t: NDArray[np.float64] | float, coldest_day: float = COLDEST_DAY
) -> NDArray[np.float64]:
    """Return the temperature at an instant [degC]: the damped sinusoid of [HILLEL-1982]."""
    damped = depth_m / DAMPING_DEPTH_M
    wave = np.cos(OMEGA * (np.asarray(t) - coldest_day) - damped)
    return MEAN_C - SURFACE_AMPLITUDE_C * np.exp(-damped) * wave


def mean_c(
    depth_m: float, end: NDArray[np.float64], length: float, coldest_day: float = COLDEST_DAY
) -> NDArray[np.float64]:
    """Return the mean over the `length` days that end at `end` [degC], exactly.

    The mean of a sinusoid is its value in the middle, its amplitude less by `shrink(length)`.
    """
    middle = soil_temp_c(depth_m, end - length / 2, coldest_day)
    return MEAN_C + shrink(length) * (middle - MEAN_C)


def shrink(length: float) -> float:
    """Return how much of a yearly wave's amplitude is left in a mean over `length` days."""
    return np.sin(OMEGA * length / 2) / (OMEGA * length / 2)
