"""A probe that fails, bridged for a while: its temperature from those at other depths.

On its way down a wave shrinks and comes later, each wave by its own measure. A weighted sum of
today's and earlier days at other depths does both; the weights are fitted to the days before the
loss, and the level to the last week of them. A mean difference knows neither: on real soil its
error is 1.5 to 13 times as large (tests/probes/soil/test_bridge.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

MOST_DAYS = 21
LAGS_D = (0, 1, 3, 6, 12)
FITTED_DAYS = 60  # shorter fits waver, longer ones mix seasons: real soil, tests as above
COMMON_DAYS = 45  # of those that must be known at all depths
LEVEL_DAYS = 7
SHORT_GAP_DAYS = 3  # at another depth, bridged by a straight line
SOURCES = 2
RIDGE_C2 = 0.1  # against weights of hundreds where two depths move alike [degC2]


@dataclass(frozen=True)
class Bridged:
    """What a lost probe would have shown.

    temp_c : (n,) float64, NaN where it is not bridged [degC]
    error_c : (n,) float64, standard error, without that of the sensor; NaN likewise [degC]
    """

    temp_c: NDArray[np.float64]
    error_c: NDArray[np.float64]


def bridge(lost_c: NDArray[np.float64], others_c: NDArray[np.float64]) -> Bridged:
    """Return daily means of a lost probe on the days without one.

    Parameters
    ----------
    lost_c : array, shape (n_days,)
        Daily means of the probe; NaN where it has none. [degC]
    others_c : array, shape (n_others, n_days)
        Daily means at other depths, the most telling first; NaN where missing. [degC]

    At most 21 days after a day of its own are bridged, by the first two of the others that are
    there on the day and have enough days in common before the loss. Nothing after a day is used
    for it. The error is that of the fit, stretched as real soil strays from a relation with time:
    after 21 days it is twice as large.
    """
    days = lost_c.size
    bridged = Bridged(np.full(days, np.nan), np.full(days, np.nan))
    known: NDArray[np.bool_] = ~np.isnan(lost_c)
    last = np.maximum.accumulate(np.where(known, np.arange(days), -1))
    since = np.arange(days) - last
    lost = np.flatnonzero(~known & (last >= 0) & (since <= MOST_DAYS))
    if not lost.size or not len(others_c):
        return bridged
    past = np.array([_past(other_c) for other_c in others_c])
    there = ~np.isnan(past.sum(axis=2))
    relations: dict[tuple[int, tuple[int, ...]], _Relation] = {}
    for day in lost.tolist():
        end = int(last[day]) + 1
        fitted = slice(max(0, end - FITTED_DAYS), end)
        common = there[:, fitted] & known[fitted]
        sources = _choose(there[:, day], common)
        if not sources:
            continue
        if (end, sources) not in relations:
            relations[end, sources] = _fit(lost_c[:end], past[list(sources), :end])
        temp_c, error_c = relations[end, sources].at(past[list(sources), day])
        bridged.temp_c[day] = temp_c
        bridged.error_c[day] = error_c * np.sqrt(1 + since[day] / LEVEL_DAYS)
    return bridged


@dataclass(frozen=True)
class _Relation:
    """A fitted sum of days at other depths."""

    level_c: float
    middle_c: NDArray[np.float64]
    weights: NDArray[np.float64]
    variance_c2: float
    spread: NDArray[np.float64]
    """Of the weights, over the variance of one day; the level's own share is `level_spread`."""
    level_spread: float

    def at(self, past_c: NDArray[np.float64]) -> tuple[float, float]:
        """Return the temperature and the standard error of one day, given its sources [degC]."""
        away_c = past_c.ravel() - self.middle_c
        spread = 1 + self.level_spread + away_c @ self.spread @ away_c
        return (
            float(self.level_c + away_c @ self.weights),
            float(np.sqrt(self.variance_c2 * spread)),
        )


def _past(temp_c: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return each day with the earlier ones it is used with, (n_days, n_lags); short gaps filled.

    A day that is itself missing stays so: what fills the gap lies after it.
    """
    filled_c = _without_short_gaps(temp_c)
    past_c = np.full((temp_c.size, len(LAGS_D)), np.nan)
    for place, lag in enumerate(LAGS_D):
        past_c[lag:, place] = filled_c[: max(0, temp_c.size - lag)] if lag else temp_c
    return past_c


def _without_short_gaps(temp_c: NDArray[np.float64]) -> NDArray[np.float64]:
    there = np.flatnonzero(~np.isnan(temp_c))
    if there.size < 2:
        return temp_c
    gap = np.diff(there) - 1
    short = np.flatnonzero((gap > 0) & (gap <= SHORT_GAP_DAYS))
    fill = np.concatenate([np.arange(there[g] + 1, there[g + 1]) for g in short] or [[]])
    filled_c = temp_c.copy()
    filled_c[fill.astype(np.intp)] = np.interp(fill, there, temp_c[there])
    return filled_c


def _choose(there: NDArray[np.bool_], common: NDArray[np.bool_]) -> tuple[int, ...]:
    """Return the first others that are there today and share enough days with the lost probe."""
    usable = np.flatnonzero(there & (common.sum(axis=1) >= COMMON_DAYS))[:SOURCES]
    if common[usable].all(axis=0).sum() < COMMON_DAYS:
        usable = usable[:1]
    return tuple(usable.tolist())


def _fit(lost_c: NDArray[np.float64], past: NDArray[np.float64]) -> _Relation:
    """Fit a relation to the last days of a series that ends with the last one known."""
    design_c = np.hstack(list(past[:, -FITTED_DAYS:]))
    target_c = lost_c[-FITTED_DAYS:]
    common = ~np.isnan(design_c).any(axis=1) & ~np.isnan(target_c)
    design_c, target_c = design_c[common], target_c[common]
    middle_c = design_c.mean(axis=0)
    away_c = design_c - middle_c
    spread = np.linalg.inv(away_c.T @ away_c + RIDGE_C2 * np.eye(middle_c.size))
    weights = spread @ away_c.T @ target_c  # the design is centred, so the level drops out
    residual_c = target_c - target_c.mean() - away_c @ weights
    size_c2 = float(residual_c @ residual_c)
    alike = residual_c[1:] @ residual_c[:-1] / size_c2 if size_c2 > 0 else 0.0
    alike = np.clip(alike, 0.0, 0.95)
    stretch = (1 + alike) / (1 - alike)  # days that err alike know less than as many others
    return _Relation(
        level_c=float(target_c.mean() + residual_c[-LEVEL_DAYS:].mean()),
        middle_c=middle_c,
        weights=weights,
        variance_c2=size_c2 / (target_c.size - 1 - middle_c.size),
        spread=spread * stretch,
        level_spread=float(stretch / target_c.size),
    )
