"""How good forecasts of a date were: errors, CRPS, skill.

Dates are numbers of days, infinite where a season never reaches its threshold. No season is dropped
for that: `up_to` moves forecast and observation to the last day that is scored, the horizon. A
forecast of "never" is then as right as can be when nothing came, and late by the days up to the
horizon when something did; the CRPS becomes its integral up to the horizon.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import nan

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Errors:
    """Mean absolute error and mean error (positive: forecast too late) [d]."""

    mae_d: float
    bias_d: float
    count: int


def up_to(horizon_d: NDArray[np.float64] | float, day: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return days as they are scored: those after the horizon, and "never", at the horizon [d].

    Parameters
    ----------
    horizon_d : float or array
        The last day that is scored; one for all, or such that it fits `day`. [d]
    day : array
        Forecast or observed; infinite for "never", NaN where unknown. [d]

    References
    ----------
    [THORARINSDOTTIR-2010] for scoring at a bound.
    """
    return np.minimum(day, horizon_d)


def find_errors(forecast_d: NDArray[np.float64], observed_d: NDArray[np.float64]) -> Errors:
    """Return the errors of single dates.

    Parameters
    ----------
    forecast_d, observed_d : array, shape (n,)
        Finite: through `up_to` where a date may never come. [d]
    """
    error_d = forecast_d - observed_d
    return Errors(
        mae_d=float(np.mean(np.abs(error_d))),
        bias_d=float(np.mean(error_d)),
        count=error_d.size,
    )


def crps_ensemble(
    members_d: NDArray[np.float64], observed_d: NDArray[np.float64], fair: bool = False
) -> NDArray[np.float64]:
    """Return the continuous ranked probability score of ensembles [d].

    Parameters
    ----------
    members_d : array, shape (..., m)
        Finite: through `up_to` where a date may never come. [d]
    observed_d : array, shape (...,)
        [d]
    fair : bool
        Whether to score what the members are a sample of, not the sample: the score that ever more
        members would have. Needs two members.

    References
    ----------
    [FERRO-2008].
    """
    m = members_d.shape[-1]
    away_d = np.abs(members_d - observed_d[..., np.newaxis]).mean(axis=-1)
    # the i-th smallest member lies above i others and below m - 1 - i
    weights = 2 * np.arange(m) - (m - 1)
    apart_d = np.sort(members_d, axis=-1) @ weights
    return away_d - apart_d / (m * (m - 1 if fair else m))


def find_skill(score: float, reference_score: float) -> float:
    """Return by what share a score is better (smaller) than that of a reference; 0 is no better,
    NaN where the reference is never wrong, which no share compares with."""
    return 1 - score / reference_score if reference_score else nan
