"""Curves for the tests of outlooks, and how their anomalies go together from day to day."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from alerts.outlook.anomalies import Anomalies, fit_anomalies, yearly_terms
from alerts.outlook.curves import TERMS, WAVES, Curves
from tests.reference_curve import soil_temp_c

NOISE_C = 0.05
DEPTH_M = 0.3


def days_of(first: str, last: str) -> NDArray[np.datetime64]:
    """Return consecutive days, both ends included."""
    return np.arange(np.datetime64(first), np.datetime64(last) + 1)


def usual_anomalies(n: int = 1, spread_c: float = 1.2) -> Anomalies:
    """Return the anomalies of series without days, of an even spread."""
    fitted = fit_anomalies(np.full((n, 40), np.nan), days_of("2020-01-01", "2020-02-09"))
    return replace(fitted, spread_c2=np.tile([spread_c**2, 0.0, 0.0], (n, 1)))


def sure_curve(lower_c: float = 0.0, south: bool = False, spread_c: float = 1e-4) -> Curves:
    """Return [REFERENCE-R] at 30 cm as a curve that is known for sure.

    lower_c : by how much the whole curve lies lower [degC]
    """
    days = days_of("2021-01-01", "2024-12-31")
    noon = (days - days[0]).astype(float) + 0.5 - (182.5 if south else 0.0)
    terms_c, *_ = np.linalg.lstsq(yearly_terms(days, WAVES), soil_temp_c(DEPTH_M, noon) - lower_c)
    return Curves(terms_c[np.newaxis], np.zeros((1, TERMS, TERMS)), usual_anomalies(1, spread_c))


def anomaly_cov_c2(anomalies: Anomalies, days: NDArray[np.datetime64]) -> NDArray[np.float64]:
    """Return how the anomalies of the first series on some days go together [degC2]."""
    fading, weight = anomalies.fading[0], anomalies.weight[0]
    apart = np.abs(np.arange(days.size)[:, np.newaxis] - np.arange(days.size))
    pairs = np.einsum("i,ij,j->j", weight, anomalies.variance[0], weight)
    alike = np.sum(pairs * fading ** apart[..., np.newaxis], axis=-1)
    spread_c = anomalies.spread_c(days)[0]
    return spread_c[:, np.newaxis] * spread_c * alike
