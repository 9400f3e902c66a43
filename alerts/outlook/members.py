"""Members: what the root zone may do from its last day on, each as likely as the next."""

from __future__ import annotations

from datetime import date
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from alerts.outlook.anomalies import yearly_terms
from alerts.outlook.curves import WAVES, Belief

_JITTER_C2 = 1e-6  # keeps a covariance of smooth days positive


def member_rng(block_id: str, issued_on: date) -> np.random.Generator:
    """Return the source of chance of one block on one day, so that a rerun gives the same."""
    return np.random.default_rng([crc32(block_id.encode()), issued_on.toordinal()])


def coming_days(
    belief: Belief, row: int, days: NDArray[np.datetime64], ahead_d: int = 0
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return mean and covariance of the days that follow the last one of a series.

    Parameters
    ----------
    belief : Belief
    row : int
        Which series.
    days : array of datetime64[D], shape (n_days,)
        Consecutive.
    ahead_d : int
        How long after the day after the last one they begin. [d]

    Returns
    -------
    (n_days,) [degC], (n_days, n_days) [degC2]
    """
    anomalies = belief.anomalies.take(slice(row, row + 1))
    fading, weight, variance = anomalies.fading[0], anomalies.weight[0], anomalies.variance[0]
    spread_c = anomalies.spread_c(days)[0]
    lead = ahead_d + np.arange(1, days.size + 1)
    left = spread_c[:, np.newaxis] * weight * fading ** lead[:, np.newaxis]
    view = np.hstack([yearly_terms(days, WAVES), left])
    known_c2 = view @ belief.cov[row] @ view.T
    # what pushes the parts from now on: all their variance, less what is left of today's
    alike = fading ** np.arange(days.size)[:, np.newaxis] @ (weight @ variance * weight)
    apart = np.abs(lead[:, np.newaxis] - lead)
    pushed_c2 = spread_c[:, np.newaxis] * spread_c * alike[apart] - left @ variance @ left.T
    return view @ belief.mean[row], known_c2 + pushed_c2


def draw_members(
    mean_c: NDArray[np.float64],
    cov_c2: NDArray[np.float64],
    count: int,
    rng: np.random.Generator,
) -> NDArray[np.float64]:
    """Return an even `count` of members, count x days [degC].

    They come in pairs, one as far above the mean as the other below: fewer are needed so.
    """
    root_c = np.linalg.cholesky(cov_c2 + _JITTER_C2 * np.eye(mean_c.size))
    above_c = rng.standard_normal((count // 2, mean_c.size)) @ root_c.T
    return np.concatenate([mean_c + above_c, mean_c - above_c])
