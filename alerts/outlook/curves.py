"""What is known of yearly curves and of today's anomalies, as a normal distribution.

A yearly curve is a mean and three waves. Its terms and the parts of the anomaly are one state with
one covariance, which every root-zone day corrects (a Kalman filter): with few years the curve stays
as uncertain as it is, and goes on being corrected by the season.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from alerts.outlook.anomalies import (
    PARTS,
    USUAL_SPREAD_C,
    Anomalies,
    fit_anomalies,
    yearly_terms,
)

WAVES = 3
TERMS = 1 + 2 * WAVES
NEEDS_DAYS = 300
"""Days of the year, of any years, that a curve of a block's own needs. [days]"""
_SIZE = TERMS + PARTS
_NOISE_C = 0.05  # of a root-zone day
_WEATHER_DAYS = 20.0  # that count as one, while a first curve is drawn


@dataclass(frozen=True)
class Usual:
    """What is known of a curve before its first day: standard deviations [degC].

    wave_c : of the terms of the yearly wave, that of half a year and that of a third
    spread_c : of the anomaly
    """

    mean_c: float
    mean_sd_c: float
    wave_sd_c: tuple[float, float, float]
    spread_c: float

    @property
    def terms_sd_c(self) -> NDArray[np.float64]:
        """The standard deviation of each term [degC]."""
        return np.array([self.mean_sd_c, *np.repeat(self.wave_sd_c, 2)])


ANY_SOIL = Usual(12.0, 20.0, (15.0, 1.5, 0.4), USUAL_SPREAD_C)
BETWEEN_NEIGHBOURS = Usual(0.0, 1.5, (1.0, 0.3, 0.1), 0.5)
"""By how much the curves of two places in one valley differ: ours, no source."""


@dataclass(frozen=True)
class Curves:
    """What is known of the yearly curves of n series, and how they stray from them.

    terms_c : (n, TERMS), as in `yearly_terms` [degC]
    cov_c2 : (n, TERMS, TERMS) [degC2]
    """

    terms_c: NDArray[np.float64]
    cov_c2: NDArray[np.float64]
    anomalies: Anomalies

    def take(self, rows: NDArray[np.intp] | slice) -> Curves:
        """Return those of some series."""
        return Curves(self.terms_c[rows], self.cov_c2[rows], self.anomalies.take(rows))


@dataclass(frozen=True)
class Belief:
    """State of n series on the last day that each has a value for.

    mean, cov : (n, TERMS + PARTS) and its covariance: the curve's terms [degC], then the parts
    last : (n,), position of that day; -1 where there is none: the day before the first
    """

    mean: NDArray[np.float64]
    cov: NDArray[np.float64]
    last: NDArray[np.intp]
    anomalies: Anomalies


def fit_curves(
    root_zone_c: NDArray[np.float64], days: NDArray[np.datetime64], usual: Usual = ANY_SOIL
) -> Curves:
    """Return the yearly curves of some series.

    Parameters
    ----------
    root_zone_c : array, shape (n, n_days)
        Root-zone daily mean; NaN where the day has no value. [degC]
    days : array of datetime64[D], shape (n_days,)
        Consecutive.
    usual : Usual
        What holds where there are few days, or none.

    References
    ----------
    [DURBIN-2012] for a regression within a Kalman filter.
    """
    terms = yearly_terms(days, WAVES)
    departure_c = root_zone_c - usual.mean_c
    known = ~np.isnan(departure_c)
    gram = np.einsum("nt,ti,tj->nij", known, terms, terms, optimize=True)
    gram += np.diag(_WEATHER_DAYS * (usual.spread_c / usual.terms_sd_c) ** 2)
    moment = np.where(known, departure_c, 0.0) @ terms
    first_c = np.linalg.solve(gram, moment[..., np.newaxis])[..., 0]
    anomalies = fit_anomalies(departure_c - first_c @ terms.T, days, usual.spread_c)
    n = len(root_zone_c)
    before = Curves(
        np.tile([usual.mean_c, *[0.0] * (TERMS - 1)], (n, 1)),
        np.tile(np.diag(usual.terms_sd_c**2), (n, 1, 1)),
        anomalies,
    )
    belief = follow(before, root_zone_c, days)
    return Curves(belief.mean[:, :TERMS], belief.cov[:, :TERMS, :TERMS], anomalies)


def shift_curves(
    neighbours: Curves,
    root_zone_c: NDArray[np.float64],
    of_neighbours_c: NDArray[np.float64],
    days: NDArray[np.datetime64],
) -> Curves:
    """Return curves for series with few days: those of a neighbour each, shifted by their offset.

    Parameters
    ----------
    neighbours : Curves
        n of them.
    root_zone_c, of_neighbours_c : array, shape (n, n_days)
        Of the series and of their neighbours. What they differ by, on days that both have, is a
        yearly curve of its own, near nothing; weather that both have is not in it. [degC]
    days : array of datetime64[D], shape (n_days,)
        Consecutive.
    """
    offset = fit_curves(root_zone_c - of_neighbours_c, days, BETWEEN_NEIGHBOURS)
    return Curves(
        neighbours.terms_c + offset.terms_c,
        neighbours.cov_c2 + offset.cov_c2,
        neighbours.anomalies,
    )


def follow(
    curves: Curves, root_zone_c: NDArray[np.float64], days: NDArray[np.datetime64]
) -> Belief:
    """Return what some days add to what is known; nothing is known of the anomaly before them.

    Parameters
    ----------
    curves : Curves
        n of them, from other days than these.
    root_zone_c, days : as in `fit_curves`
    """
    anomalies = curves.anomalies
    n = len(root_zone_c)
    mean = np.hstack([curves.terms_c, np.zeros((n, PARTS))])
    cov = np.zeros((n, _SIZE, _SIZE))
    cov[:, :TERMS, :TERMS], cov[:, TERMS:, TERMS:] = curves.cov_c2, anomalies.variance
    fading = np.hstack([np.ones((n, TERMS)), anomalies.fading])
    both_fading = fading[:, :, np.newaxis] * fading[:, np.newaxis, :]
    pushes = np.zeros_like(cov)
    pushes[:, TERMS:, TERMS:] = anomalies.variance * (1 - both_fading[:, TERMS:, TERMS:])
    terms, spread_c = yearly_terms(days, WAVES), anomalies.spread_c(days)
    last_mean, last_cov, last = mean.copy(), cov.copy(), np.full(n, -1)
    for day in range(days.size):
        mean *= fading
        cov *= both_fading
        cov += pushes
        known = ~np.isnan(root_zone_c[:, day])
        rows = slice(None) if known.all() else np.flatnonzero(known)  # a slice copies nothing
        of_parts = anomalies.weight[rows] * spread_c[rows, day, np.newaxis]
        view = np.hstack([np.broadcast_to(terms[day], (len(of_parts), TERMS)), of_parts])
        seen = np.einsum("nij,nj->ni", cov[rows], view)
        gain = seen / (np.einsum("ni,ni->n", seen, view) + _NOISE_C**2)[:, np.newaxis]
        error_c = root_zone_c[rows, day] - np.einsum("ni,ni->n", mean[rows], view)
        mean[rows] += gain * error_c[:, np.newaxis]
        cov[rows] -= gain[:, :, np.newaxis] * seen[:, np.newaxis, :]
        last[rows] = day
        # kept where the next day has nothing, and at the end
        is_last = known if day + 1 == days.size else known & np.isnan(root_zone_c[:, day + 1])
        if is_last.any():
            last_mean[is_last], last_cov[is_last] = mean[is_last], cov[is_last]
    return Belief(last_mean, last_cov, last, anomalies)


def has_own_curve(root_zone_c: NDArray[np.float64], days: NDArray[np.datetime64]) -> bool:
    """Return whether a block's days, shape (n_days,), make a year."""
    known = days[~np.isnan(root_zone_c)].astype("datetime64[D]")
    of_year = (known - known.astype("datetime64[Y]")).astype(np.int64)
    return np.unique(of_year).size >= NEEDS_DAYS
