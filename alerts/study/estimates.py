"""What openings of many seasons say together: their middle, their trend, how two places differ.

An opening is known between two days: later than `after`, and by `by`, as days of its season, 1
being the first. A gap in the readings widens that; `by` is infinite where no opening was seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.stats import kendalltau, theilslopes
from scipy.stats import t as student

LEAST_SEASONS = 5
"""With four no order of them can be told from chance at 5 %: two of 24 orders are as extreme."""
CONFIDENCE = 0.95

Days = NDArray[np.float64]
_CLOSE = 1e-9
_MOST_STEPS = 10_000


@dataclass(frozen=True)
class Middle:
    """Between which days half of the seasons have opened; `last` is infinite where fewer than half
    have. `seasons` of them count, `opened` were seen to open. [day of the season]

    least, most : the same whatever the gaps hide: each opening as early, or as late, as it may be
    """

    first: float
    last: float
    least: float
    most: float
    seasons: int
    opened: int


@dataclass(frozen=True)
class Trend:
    """By how much openings move, a positive sign being later, with its interval. [d a decade]

    p : the chance of an order as clear as theirs where nothing moves
    left_out : seasons whose opening is not known to the day, which it does not heed
    """

    slope: float
    low: float
    high: float
    p: float
    seasons: int
    left_out: int


@dataclass(frozen=True)
class Difference:
    """By how much one place opens later than another in the same seasons. [d]

    mean : over the seasons in which both are known to the day; None where there is none
    low, high : interval of the mean, by season; None where there are too few
    least, most : the mean over all in which both opened, with every opening at an end of its range
    seasons : those of the mean
    hidden : those in which both opened, one of them between two days
    left_out : seasons in which one of the two was not seen to open
    """

    mean: float | None
    low: float | None
    high: float | None
    least: float
    most: float
    seasons: int
    hidden: int
    left_out: int


def find_middle(after: Days, by: Days) -> Middle | None:
    """Return between which days half of the seasons have opened; None without any season.

    By the estimate of Turnbull for events known between two days: seasons that gaps hide, and
    those never reached, count as far as they go. It assumes that what hides an opening has nothing
    to do with when it comes. Ours, as the library that has it divides by zero where few seasons
    share all the mass; tests hold the two together.

    References
    ----------
    [TURNBULL-1976]
    """
    if not after.size:
        return None
    first, last, share = estimate_shares(after + 1, by)
    half = int(np.argmax(share.cumsum() >= 0.5 - _CLOSE))
    least, most = (float(np.sort(days)[(after.size - 1) // 2]) for days in (after + 1, by))
    opened = int(np.isfinite(by).sum())
    return Middle(float(first[half]), float(last[half]), least, most, after.size, opened)


def estimate_shares(first: Days, last: Days) -> tuple[Days, Days, Days]:
    """Return from which day to which, both included, which share of the seasons opened.

    Each season opened from `first` to `last`, both included; infinite where it is not known to.
    """
    lefts, rights = np.unique(first), np.unique(last)
    nearest = lefts[np.searchsorted(lefts, rights, side="right") - 1]
    begins, where = np.unique(nearest, return_index=True)
    ends = rights[where]
    may = (first[:, None] <= begins) & (ends <= last[:, None])
    share, moved = np.full(begins.size, 1 / begins.size), 1.0
    for _ in range(_MOST_STEPS):
        if moved < _CLOSE:
            break
        weight = may * share
        better = (weight / weight.sum(axis=1, keepdims=True)).mean(axis=0)
        moved, share = np.abs(better - share).max(), better
    return begins, ends, share


def find_trend(season: Days, opened: Days, left_out: int = 0) -> Trend | None:
    """Return by how much openings move with the years, None where they are fewer than five.

    The slope of Theil and Sen; whether there is any by the test of Mann and Kendall.

    References
    ----------
    [SEN-1968], [MANN-1945]; both from scipy
    """
    if season.size < LEAST_SEASONS:
        return None
    slope, _, low, high = map(float, theilslopes(opened, season, CONFIDENCE))
    _, p = map(float, kendalltau(season, opened))
    p = 1.0 if isnan(p) else p  # all on one day
    return Trend(10 * slope, 10 * low, 10 * high, p, season.size, left_out)


def find_difference(after: tuple[Days, Days], by: tuple[Days, Days], of: int) -> Difference | None:
    """Return by how much the second of two places opens later; None where no season has both.

    A gap that hides both openings lets them seem to fall on its last day, as if they did not
    differ: such seasons have no part in the mean, and widen what it may be.

    Parameters
    ----------
    after, by : two arrays, of each place in the same seasons
    of : seasons looked at, those among them in which one of the two was not seen to open
    """
    early, late = by
    if not late.size:
        return None
    least, most = after[1] + 1 - early, late - (after[0] + 1)
    moved = (late - early)[least == most]
    mean, half = None, None
    if moved.size:
        mean = float(moved.mean())
    if moved.size > 1:
        error = float(moved.std(ddof=1)) / sqrt(moved.size)
        half = error * float(student.ppf((1 + CONFIDENCE) / 2, moved.size - 1))
    return Difference(
        mean=mean,
        low=None if mean is None or half is None else mean - half,
        high=None if mean is None or half is None else mean + half,
        least=float(least.mean()),
        most=float(most.mean()),
        seasons=moved.size,
        hidden=late.size - moved.size,
        left_out=of - late.size,
    )
