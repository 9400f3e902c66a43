"""Scores of date forecasts against closed forms, numbers by hand, and plain integration."""

from __future__ import annotations

from math import inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import norm

from alerts.scores import (
    Errors,
    crps_ensemble,
    find_errors,
    find_skill,
    up_to,
)

FORECAST_D = np.array([118.0, 121, 125, 130, 127])
OBSERVED_D = np.array([120.0, 119, 131, 128, 127])
HORIZON_D = 180.0

days = st.integers(60, 240).map(float)
days_or_never = st.one_of(days, st.just(inf))


def integrated_crps_d(members_d: NDArray[np.float64], observed_d: float, end_d: float) -> float:
    """Return the integral of (F - step)^2 from day 0 up to `end_d`, quarter day by quarter day."""
    middle_d = np.arange(0, end_d, 0.25) + 0.125
    share = (members_d <= middle_d[:, np.newaxis]).mean(axis=1)
    return float(np.sum((share - (observed_d <= middle_d)) ** 2) * 0.25)


def test_errors_of_five_dates() -> None:
    # by hand: errors -2, 2, -6, 2, 0
    found = find_errors(FORECAST_D, OBSERVED_D)
    assert (found.mae_d, found.bias_d, found.count) == pytest.approx((2.4, -0.8, 5))


def test_skill_of_five_dates_against_one_day_for_all() -> None:
    # by hand: day 125 is off by 5, 6, 6, 3, 2, on average 4.4; 1 - 2.4 / 4.4
    climatology = find_errors(np.full(5, 125.0), OBSERVED_D)
    skill = find_skill(find_errors(FORECAST_D, OBSERVED_D).mae_d, climatology.mae_d)
    assert skill == pytest.approx(0.454545, abs=1e-6)


def test_an_ensemble_along_the_quantiles_scores_as_its_normal_distribution() -> None:
    members_d = norm.ppf((np.arange(20_000) + 0.5) / 20_000, 120, 6)
    # by hand, from the closed form of [GNEITING-2007]
    assert crps_ensemble(members_d, np.array(125.0)) == pytest.approx(2.974521, abs=1e-4)  # d


@given(st.lists(days, min_size=1, max_size=8), days)
def test_the_score_of_an_ensemble_is_its_integral(
    members_d: list[float], observed_d: float
) -> None:
    members = np.array(members_d)
    found_d = crps_ensemble(members, np.array(observed_d))
    assert found_d == pytest.approx(integrated_crps_d(members, observed_d, 250), abs=1e-9)  # d


@given(st.lists(days_or_never, min_size=1, max_size=8), days_or_never)
def test_a_season_that_never_comes_is_scored_up_to_the_horizon(
    members_d: list[float], observed_d: float
) -> None:
    members, observed = np.array(members_d), np.array(observed_d)
    found_d = crps_ensemble(up_to(HORIZON_D, members), up_to(HORIZON_D, observed))
    assert found_d == pytest.approx(integrated_crps_d(members, observed_d, HORIZON_D), abs=1e-9)


def test_never_forecast_and_never_seen_is_no_error() -> None:
    never_d = up_to(HORIZON_D, np.array([inf]))
    assert find_errors(never_d, never_d) == Errors(0.0, 0.0, 1)


def test_never_forecast_is_late_by_the_days_up_to_the_horizon() -> None:
    forecast_d, observed_d = (up_to(HORIZON_D, np.array([day])) for day in (inf, 150.0))
    assert find_errors(forecast_d, observed_d).bias_d == 30.0


def test_one_member_scores_its_absolute_error() -> None:
    assert crps_ensemble(np.array([[118.0], [130]]), np.array([120.0, 127])).tolist() == [2.0, 3.0]


def test_the_fair_score_of_few_members_is_on_average_that_of_many() -> None:
    rng = np.random.default_rng(20260506)
    members_d = rng.normal(120, 6, (20_000, 4))
    found_d = crps_ensemble(members_d, np.full(20_000, 125.0), fair=True)
    # 20,000 ensembles know their mean to 0.02 d
    assert found_d.mean() == pytest.approx(2.974521, abs=0.06)  # d


def test_the_plain_score_of_few_members_is_on_average_worse() -> None:
    rng = np.random.default_rng(20260507)
    members_d = rng.normal(120, 6, (20_000, 4))
    found_d = crps_ensemble(members_d, np.full(20_000, 125.0))
    # by hand: the spread term is a quarter too small; 6 / sqrt(pi) / 4 = 0.846 d more
    assert found_d.mean() == pytest.approx(2.974521 + 0.846284, abs=0.06)  # d
