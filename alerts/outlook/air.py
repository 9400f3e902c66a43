"""What the air of coming days says of the root zone: each day's mean air is a reading of it.

The air stands above the soil by an offset that goes with the season, and the further the faster the
soil warms: air - root zone = offset + slopes x (its change since the day before, to the day after)
+ noise. Coming root-zone days are normal with a known covariance, so a forecast of the air corrects
them as any reading would, with its own error, and the days after it follow by that covariance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from alerts.outlook.anomalies import yearly_terms

FORECAST_DAYS = 7
_ERROR_C = (1.7, 1.8, 2.1, 2.4, 2.8, 3.1, 3.4)
"""Of a daily mean forecast 1 to 7 days ahead: the first from [FORECAST-ERRORS]; the rest lie 0.2
to 0.6 below the deviations of maxima that [FORECAST-WEEK] shows, since the extremes of a day do not
err alike, and by how much less its mean errs is ours. [degC]"""
_ERROR_FADES = 0.7  # from a day to the next, of one forecast: ours, no source

# terms: one, cosine and sine of the year [degC]; the changes before and after the day [d]
_USUAL = np.array([-1.0, 0.5, 0.0, 2.7, 1.6])
_USUAL_SD = np.array([1.5, 1.5, 1.5, 1.5, 1.5])
_USUAL_NOISE_C = 1.7
"""What lies between [US-TW3] (-1.5, 0.8, 0.3, 3.6, 2.5; noise 1.55) and [UTAH-PROFILE] (-0.5, its
year not whole, 1.8, 0.6; noise 1.93), and how far such places are apart."""
_USUAL_DAYS = 30.0  # as many days its noise counts in a fit
_QUICK, _QUICK_D, _SLOW_D = 0.75, 1.8, 14.0  # how noise fades: [US-TW3], 0.68 to 0.10 at 1 to 14 d
_ALIKE_DAYS = 10.0  # of noise that fades so count as one


@dataclass(frozen=True)
class Response:
    """How the air of a place stands above its root zone: coefficients of the terms, and noise.

    mean, cov : (5,), (5, 5)
    noise_c : standard deviation of what the terms leave [degC]
    """

    mean: NDArray[np.float64]
    cov: NDArray[np.float64]
    noise_c: float


@dataclass(frozen=True)
class Air:
    """Air of days without root zone, as a forecast gives it.

    days : (n,) datetime64[D], ascending
    air_c : (n,), daily means [degC]
    error_c2 : (n, n), covariance of their errors [degC2]
    """

    days: NDArray[np.datetime64]
    air_c: NDArray[np.float64]
    error_c2: NDArray[np.float64]
    response: Response


def usual_response() -> Response:
    """Return what holds for a place of which no air is known."""
    return Response(_USUAL, np.diag(_USUAL_SD**2), _USUAL_NOISE_C)


def find_errors_c2(days: NDArray[np.datetime64], lead_d: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return the covariance of the errors of forecasts for some days, each so far ahead [degC2]."""
    sd_c = np.array(_ERROR_C)[np.clip(lead_d, 1, FORECAST_DAYS) - 1]
    return sd_c[:, np.newaxis] * sd_c * _ERROR_FADES ** _apart_d(days)


def fit_response(
    root_zone_c: NDArray[np.float64], air_c: NDArray[np.float64], days: NDArray[np.datetime64]
) -> Response:
    """Return how the air stood above a root zone; with few days the usual outweighs them.

    Parameters
    ----------
    root_zone_c, air_c : array, shape (n_days,)
        Daily means; NaN where there is none. [degC]
    days : array of datetime64[D], shape (n_days,)
        Consecutive.
    """
    usual = usual_response()
    terms = _terms(root_zone_c, root_zone_c[:1] * np.nan, days)
    above_c = air_c[:-1] - root_zone_c[:-1]
    known = ~np.isnan(terms).any(axis=1) & ~np.isnan(above_c)
    terms, above_c = terms[known], above_c[known]
    prior = np.diag(1 / _USUAL_SD**2)
    found = usual
    for _ in range(3):  # how far the usual counts goes by the noise, and the noise by the fit
        weight = 1 / (_ALIKE_DAYS * found.noise_c**2)
        cov = np.array(np.linalg.inv(prior + weight * terms.T @ terms), np.float64)
        mean = cov @ (prior @ usual.mean + weight * terms.T @ above_c)
        square_c2 = np.square(above_c - terms @ mean).sum() + _USUAL_DAYS * usual.noise_c**2
        found = Response(mean, cov, float(square_c2 / (known.sum() + _USUAL_DAYS)) ** 0.5)
    return found


def heed_air(
    air: Air,
    days: NDArray[np.datetime64],
    before_c: float,
    mean_c: NDArray[np.float64],
    cov_c2: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return mean and covariance of coming root-zone days, corrected by the air of some.

    Parameters
    ----------
    air : Air
    days : array of datetime64[D], shape (n_days,)
        Consecutive. The last, and what lies outside of them, is not corrected.
    before_c : float
        The root zone of the day before the first; NaN where it is not known. [degC]
    mean_c, cov_c2 : array, shape (n_days,) and (n_days, n_days)
        What is known without the air. [degC], [degC2]
    """
    terms = _terms(mean_c, np.array([before_c]), days)
    used = np.isin(air.days, days[:-1][~np.isnan(terms).any(axis=1)])
    at = np.searchsorted(days, air.days[used])
    if not at.size:
        return mean_c, cov_c2
    response = air.response
    of_before, of_after = response.mean[-2:]
    row = np.arange(at.size)
    view = np.zeros((at.size, days.size))
    view[row, at] = 1 + of_before - of_after
    view[row, at + 1] = of_after
    view[row[at > 0], at[at > 0] - 1] = -of_before
    unsure_c2 = terms[at] @ response.cov @ terms[at].T
    noise_c2 = response.noise_c**2 * _alike(_apart_d(days[at]))
    error_c2 = unsure_c2 + noise_c2 + air.error_c2[np.ix_(used, used)]
    seen_c2 = cov_c2 @ view.T
    gain = np.linalg.solve(view @ seen_c2 + error_c2, seen_c2.T).T
    surprise_c = air.air_c[used] - mean_c[at] - terms[at] @ response.mean
    return mean_c + gain @ surprise_c, cov_c2 - gain @ seen_c2.T


def _terms(
    root_zone_c: NDArray[np.float64], before_c: NDArray[np.float64], days: NDArray[np.datetime64]
) -> NDArray[np.float64]:
    """Return the terms of all days but the last, days x 5."""
    change_c = np.diff(np.concatenate([before_c, root_zone_c]))
    return np.column_stack([yearly_terms(days[:-1], 1), change_c[:-1], change_c[1:]])


def _apart_d(days: NDArray[np.datetime64]) -> NDArray[np.float64]:
    return np.abs((days[:, np.newaxis] - days) / np.timedelta64(1, "D"))


def _alike(apart_d: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the correlation of noise of days so far apart."""
    return _QUICK * np.exp(-apart_d / _QUICK_D) + (1 - _QUICK) * np.exp(-apart_d / _SLOW_D)
