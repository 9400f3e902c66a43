"""How root zones stray from their yearly curves: how far, in which season, and for how long.

An anomaly, in units of its seasonal spread, is a sum of parts that fade: weather as the soil has
smoothed it (two parts that share their pushes and make a process of second order), what lasts a
month, and what lasts most of a year. A stock of such sums is held against the variogram, half the
mean square of differences k days apart. Differences hardly know the yearly curve, so that a curve
drawn through few years, which follows their weather, does not make anomalies look small and short.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import product
from math import tau

import numpy as np
from numpy.typing import NDArray

from probes.soil.damped_wave import YEAR_D

PARTS = 4
USUAL_SPREAD_C = 1.2  # of [US-TW3] in the root zone
_LAGS_D = np.array([1, 2, 3, 4, 5, 7, 10, 14, 20, 28])
_WEATHER_D = (2.0, 3.0, 4.0, 5.5, 7.5, 10.0, 14.0)
_SMOOTHED_D = (0.5, 1.0, 1.6, 2.5, 4.0)
_MONTH_SHARES = (0.15, 0.25, 0.35, 0.5, 0.65)
_MONTH_D, _LONG_D = 30.0, 300.0
_LONG_SHARE = 0.1  # years of [US-TW3] differ by 0.4 degC; few years cannot tell by themselves
_SEASON_STEP_D = 5
_SEASON_MOST = 0.6  # of the mean variance
_USUAL_SEASON_DAYS, _USUAL_DAYS = 200.0, 30.0  # as many days the usual counts in a fit


@dataclass(frozen=True)
class Anomalies:
    """How the anomalies of n series fade and spread.

    fading : (n, 4), what a day leaves of each part
    weight : (n, 4), of the parts in an anomaly of variance one
    variance : (n, 4, 4), of the parts while nothing is known of them
    spread_c2 : (n, 3), variance of the anomaly: its mean and its yearly wave [degC2]
    """

    fading: NDArray[np.float64]
    weight: NDArray[np.float64]
    variance: NDArray[np.float64]
    spread_c2: NDArray[np.float64]

    def spread_c(self, days: NDArray[np.datetime64]) -> NDArray[np.float64]:
        """Return the standard deviation of the anomalies, series x days [degC]."""
        return np.sqrt(self.spread_c2 @ yearly_terms(days, 1).T)

    def take(self, rows: NDArray[np.intp] | slice) -> Anomalies:
        """Return those of some series."""
        return Anomalies(
            self.fading[rows], self.weight[rows], self.variance[rows], self.spread_c2[rows]
        )


def yearly_terms(days: NDArray[np.datetime64], waves: int) -> NDArray[np.float64]:
    """Return, for days x terms, one and the cosine and sine of each wave of the year."""
    day = days.astype("datetime64[D]").astype(np.float64)[:, np.newaxis]
    turn = tau / YEAR_D * day * np.arange(1, waves + 1)
    pairs = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    return np.hstack([np.ones((days.size, 1)), pairs.reshape(days.size, 2 * waves)])


def fit_anomalies(
    residual_c: NDArray[np.float64], days: NDArray[np.datetime64], usual_c: float = USUAL_SPREAD_C
) -> Anomalies:
    """Return how some series stray.

    Parameters
    ----------
    residual_c : array, shape (n, n_days)
        Root-zone days less a first yearly curve; NaN where there is none. [degC]
    days : array of datetime64[D], shape (n_days,)
        Consecutive.
    usual_c : float
        The spread of a series without days; it counts as a month of them. [degC]
    """
    season = _fit_season(residual_c, days)
    relative = np.sqrt(season @ yearly_terms(days, 1).T)
    stock, shape = _stock()
    usual_c2 = usual_c**2 * shape.mean(axis=0)
    variogram_c2 = np.empty((len(residual_c), _LAGS_D.size))
    for i, lag in enumerate(_LAGS_D):
        square_c2, count = _square_differences(residual_c / relative, lag)
        total_c2 = square_c2.sum(axis=1) / 2 + _USUAL_DAYS * usual_c2[i]
        variogram_c2[:, i] = total_c2 / (count.sum(axis=1) + _USUAL_DAYS)
    ratio = shape / variogram_c2[:, np.newaxis, :]
    scale_c2 = ratio.sum(axis=-1) / np.square(ratio).sum(axis=-1)
    misfit = np.square(scale_c2[..., np.newaxis] * ratio - 1).sum(axis=-1)
    best = np.argmin(misfit, axis=1)
    spread_c2 = np.take_along_axis(scale_c2, best[:, np.newaxis], axis=1) * season
    return Anomalies(stock.fading[best], stock.weight[best], stock.variance[best], spread_c2)


def _square_differences(
    value_c: NDArray[np.float64], lag: int
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return the squares of differences, 0 where there is none, and where there is one."""
    square_c2 = np.square(value_c[:, lag:] - value_c[:, :-lag])
    known = ~np.isnan(square_c2)
    return np.where(known, square_c2, 0.0), known


def _fit_season(
    residual_c: NDArray[np.float64], days: NDArray[np.datetime64]
) -> NDArray[np.float64]:
    """Return the variance over the year, of mean one: (n, 3), one and its yearly wave."""
    square_c2, known = _square_differences(residual_c, _SEASON_STEP_D)
    terms = yearly_terms(days[_SEASON_STEP_D:], 1)
    mean_c2 = square_c2.sum(axis=1, keepdims=True) / np.maximum(known.sum(axis=1), 1)[:, np.newaxis]
    moment = (square_c2 - known * mean_c2) @ terms[:, 1:]
    gram = np.einsum("nt,ti,tj->nij", known, terms[:, 1:], terms[:, 1:], optimize=True)
    gram += _USUAL_SEASON_DAYS * np.eye(2)
    wave = np.linalg.solve(gram, moment[..., np.newaxis])[..., 0] / np.maximum(mean_c2, 1e-9)
    size = np.linalg.norm(wave, axis=1, keepdims=True)
    wave *= np.minimum(1.0, _SEASON_MOST / np.maximum(size, 1e-9))
    return np.hstack([np.ones((len(wave), 1)), wave])


@cache
def _stock() -> tuple[Anomalies, NDArray[np.float64]]:
    """Return the sums of parts that a fit chooses from, and the variogram of each at the lags."""
    weather_d, smoothed_d, month = np.array(
        [one for one in product(_WEATHER_D, _SMOOTHED_D, _MONTH_SHARES) if one[1] < one[0]]
    ).T
    others_d = np.broadcast_to([[_MONTH_D], [_LONG_D]], (2, month.size))
    fading = np.exp(-1 / np.vstack([weather_d, smoothed_d, others_d])).T
    variance = np.zeros((month.size, PARTS, PARTS))
    variance[:, 2, 2] = variance[:, 3, 3] = 1.0
    pair = fading[:, :2]
    # two parts that take the same pushes, of variance one
    variance[:, :2, :2] = 1 / (1 - pair[:, :, np.newaxis] * pair[:, np.newaxis, :])
    weight = np.sqrt(np.stack([month, month, month, np.full(month.size, _LONG_SHARE)], axis=1))
    weight[:, :2] = pair * [1, -1]
    own = np.einsum("ni,nij,nj->n", weight[:, :2], variance[:, :2, :2], weight[:, :2])
    weight[:, :2] *= np.sqrt((1 - month - _LONG_SHARE) / own)[:, np.newaxis]
    left = weight[:, np.newaxis, :] * fading[:, np.newaxis, :] ** _LAGS_D[:, np.newaxis]
    alike = np.einsum("nki,nij,nj->nk", left, variance, weight)
    return Anomalies(fading, weight, variance, np.empty((0, 3))), 1 - alike
