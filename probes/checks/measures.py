"""What several checks measure by, and how a measure becomes a result."""

from __future__ import annotations

from math import exp

import numpy as np
from numpy.typing import NDArray

from probes.checks.series import US_PER_HOUR, ProbeSeries
from probes.frames import FAIL, GOOD, NOT_EVALUATED, SUSPECT

DAMPING_CM = 16.5
"""Over which the daily wave falls to 1/e in wet loose sand, which lets it deepest of the soils in
[MOENE-2014] table 2.2; 5 to 11 cm in clay and peat, so that this is the lenient end. [cm]"""

CHUNK = 1 << 15
"""Readings whose ranges are found together: what that takes fits into a processor's cache."""


def damped(at_surface: float, depth_cm: float, damping_cm: float) -> float:
    """Return what is left at a depth of what the surface does; NaN where the depth is NaN."""
    return at_surface * exp(-depth_cm / damping_cm)


def grade(excess: NDArray[np.float64], suspect: float, fail: float) -> NDArray[np.int8]:
    """Return results from a measure, above which it is suspect or a fail.

    Not evaluated where the measure is NaN, or the limit, as at a depth that is not known.
    """
    result = np.full(excess.shape, NOT_EVALUATED, np.int8)
    result[~np.isnan(excess - suspect)] = GOOD
    result[excess > suspect] = SUSPECT
    result[excess > fail] = FAIL
    return result


def distance_outside(
    value: NDArray[np.float64], one: NDArray[np.float64], other: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return by how much values stand out of the span between two others, 0 within it."""
    below = np.minimum(one, other) - value
    above = value - np.maximum(one, other)
    return np.maximum(np.maximum(below, above), 0.0)


def find_range(
    series: ProbeSeries, window_h: float, longest_gap_h: float
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return the range of the readings over a time up to each, and whether they cover it.

    Parameters
    ----------
    series : ProbeSeries, n readings
    window_h : float
        [h]
    longest_gap_h : float
        Between readings that cover the window, and by which the first of them may be older. [h]

    Returns
    -------
    range_c : array of float64, shape (n,)
        [degC]
    covered : array of bool, shape (n,)
    """
    at_us = series.at_us
    opens_us = at_us - round(window_h * US_PER_HOUR)
    before = np.searchsorted(at_us, opens_us, side="right") - 1
    gaps = np.cumsum(series.step_h > longest_gap_h)
    covered = (before >= 0) & (gaps == gaps[before])
    first = np.where(covered | (at_us[before] == opens_us), before, before + 1)
    range_c = np.empty(at_us.size)
    for start in range(0, at_us.size, CHUNK):
        of_chunk = first[start : start + CHUNK]
        begin, end = of_chunk.min(), start + of_chunk.size
        range_c[start:end] = _range_between(series.soil_temp_c[begin:end], of_chunk - begin)
    return range_c, covered


def _range_between(value: NDArray[np.float64], first: NDArray[np.intp]) -> NDArray[np.float64]:
    """Return the range of `value` from each place `first` up to each of as many last places."""
    place = np.arange(value.size - first.size, value.size)
    length = place - first + 1
    level = np.frexp(length)[1] - 1  # the greatest power of two within the length
    found = np.zeros(first.size)
    low, high = value.copy(), value.copy()  # over the 2**power places up to each
    for power in range(int(level.max(initial=0)) + 1):
        here = np.flatnonzero(level == power)
        start, end = first[here] + (1 << power) - 1, place[here]
        found[here] = np.maximum(high[end], high[start]) - np.minimum(low[end], low[start])
        half = 1 << power
        low[half:] = np.minimum(low[half:], low[:-half])
        high[half:] = np.maximum(high[half:], high[:-half])
    return found
