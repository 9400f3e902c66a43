"""The spread, season and persistence of anomalies are found again, with gaps, in few years."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from alerts.outlook.anomalies import Anomalies, fit_anomalies, yearly_terms
from tests.generated_climate import DEPTHS_CM, generate
from tests.outlook_curves import anomaly_cov_c2, days_of, usual_anomalies

DAYS = days_of("2016-01-01", "2021-12-31")


@cache
def strays() -> NDArray[np.float64]:
    """Return 40 series with the usual persistence, of spread 1.5 degC."""
    cov_c2 = anomaly_cov_c2(usual_anomalies(1, 1.5), DAYS)
    root_c = np.linalg.cholesky(cov_c2 + 1e-9 * np.eye(DAYS.size))
    return np.random.default_rng(3).standard_normal((40, DAYS.size)) @ root_c.T


@cache
def fitted() -> Anomalies:
    """Return what is found in them."""
    return fit_anomalies(strays(), DAYS)


def spread_in(anomalies: Anomalies, day: str) -> NDArray[np.float64]:
    return anomalies.spread_c(np.array([day], "datetime64[D]"))[:, 0]


def test_the_spread_of_six_years_is_found_to_a_tenth() -> None:
    found_c = np.sqrt(fitted().spread_c2[:, 0])
    assert found_c.mean() == pytest.approx(1.5, rel=0.1)


def test_two_thirds_of_the_days_tell_nearly_the_same_spread() -> None:
    missing = np.random.default_rng(4).random(strays().shape) < 1 / 3
    holes = fit_anomalies(np.where(missing, np.nan, strays()), DAYS).spread_c2[:, 0].mean()
    assert holes == pytest.approx(fitted().spread_c2[:, 0].mean(), rel=0.1)


def test_a_curve_that_follows_the_weather_of_its_years_makes_them_hardly_smaller() -> None:
    straying_c = strays()[:, :730]
    terms = yearly_terms(DAYS[:730], 3)
    follows_c = straying_c - (terms @ np.linalg.lstsq(terms, straying_c.T)[0]).T
    found = fit_anomalies(follows_c, DAYS[:730]).spread_c2[:, 0].mean()
    true = fit_anomalies(straying_c, DAYS[:730]).spread_c2[:, 0].mean()
    naive = follows_c.var() / straying_c.var()
    assert naive < 0.8 < 0.85 < found / true


def test_a_wider_winter_is_found() -> None:
    wider_in_january = np.sqrt(1 + 0.5 * yearly_terms(DAYS, 1)[:, 1])
    found = fit_anomalies(strays() * wider_in_january, DAYS)
    ratio = np.mean(spread_in(found, "2021-01-01") / spread_in(found, "2021-07-02"))
    assert ratio == pytest.approx(np.sqrt(1.5 / 0.5), rel=0.15)  # by hand


def test_persistence_is_that_of_the_generated_climate() -> None:
    climate = generate(seed=1, years=8)
    days = climate.observed_at[::24].astype("datetime64[D]")
    noon_d = climate.time_d.reshape(-1, 24).mean(axis=1)
    straying_c = climate.daily_c - [climate.curve_c(depth_cm, noon_d) for depth_cm in DEPTHS_CM]
    found = fit_anomalies(straying_c, days)
    week = [
        (found.weight[i] * found.fading[i] ** 7) @ found.variance[i] @ found.weight[i]
        for i in range(len(DEPTHS_CM))
    ]
    true = [np.corrcoef(one[:-7], one[7:])[0, 1] for one in straying_c]
    assert week == pytest.approx(true, abs=0.12)


def test_each_sum_of_the_stock_has_variance_one_and_only_fades() -> None:
    found = fitted()
    one = np.einsum("ni,nij,nj->n", found.weight, found.variance, found.weight)
    assert one == pytest.approx(1.0)
    assert ((found.fading > 0) & (found.fading < 1)).all()


def test_a_series_without_days_has_about_the_usual_spread() -> None:
    found = fit_anomalies(np.full((1, 400), np.nan), DAYS[:400], usual_c=0.5)
    assert found.spread_c(DAYS[:3]) == pytest.approx(0.5, rel=0.1)
