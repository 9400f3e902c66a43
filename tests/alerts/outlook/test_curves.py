"""What days tell of a yearly curve: as the normal distribution has it, with honest errors."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from alerts.outlook.anomalies import yearly_terms
from alerts.outlook.curves import (
    ANY_SOIL,
    BETWEEN_NEIGHBOURS,
    TERMS,
    WAVES,
    Curves,
    fit_curves,
    follow,
    has_own_curve,
    shift_curves,
)
from alerts.outlook.members import coming_days
from probes.soil.damped_wave import YEAR_D
from probes.soil.harmonics import fit_harmonics
from tests.generated_climate import DEPTHS_CM, GeneratedClimate, generate
from tests.outlook_curves import NOISE_C, anomaly_cov_c2, days_of, sure_curve, usual_anomalies

SEASON, COMING = days_of("2025-01-01", "2025-04-10"), days_of("2025-04-11", "2025-06-09")
UNSURE = Curves(
    sure_curve().terms_c, np.diag(np.linspace(1.0, 0.1, TERMS))[np.newaxis], usual_anomalies()
)


def some_days_c() -> np.ndarray:
    """Return a cool spring with holes, (1, n)."""
    curve_c = yearly_terms(SEASON, WAVES) @ UNSURE.terms_c[0]
    day_c = curve_c - 1.5 + np.sin(np.arange(SEASON.size) / 7)
    return np.where((np.arange(SEASON.size) % 5 == 3) | (SEASON[-20] == SEASON), np.nan, day_c)[
        np.newaxis
    ]


def conditioned() -> tuple[np.ndarray, np.ndarray]:
    """Return mean and covariance of COMING, given those days, by the textbook's formula.

    by hand: S21 S11^-1 (x - m1) and S22 - S21 S11^-1 S12 of one covariance over all days
    """
    days = np.concatenate([SEASON, COMING])
    terms = yearly_terms(days, WAVES)
    total = terms @ UNSURE.cov_c2[0] @ terms.T + anomaly_cov_c2(UNSURE.anomalies, days)
    mean = terms @ UNSURE.terms_c[0]
    day_c = some_days_c()[0]
    seen = np.flatnonzero(~np.isnan(day_c))
    later = np.arange(SEASON.size, days.size)
    inner = total[np.ix_(seen, seen)] + NOISE_C**2 * np.eye(seen.size)
    across = total[np.ix_(later, seen)]
    known_c = across @ np.linalg.solve(inner, day_c[seen] - mean[seen])
    left_c2 = total[np.ix_(later, later)] - across @ np.linalg.solve(inner, across.T)
    return mean[later] + known_c, left_c2


def test_coming_days_are_expected_where_the_normal_distribution_has_them() -> None:
    mean_c, _ = coming_days(follow(UNSURE, some_days_c(), SEASON), 0, COMING)
    assert mean_c == pytest.approx(conditioned()[0], abs=1e-6)  # degC


def test_coming_days_are_as_uncertain_as_the_normal_distribution_has_them() -> None:
    _, cov_c2 = coming_days(follow(UNSURE, some_days_c(), SEASON), 0, COMING)
    assert cov_c2 == pytest.approx(conditioned()[1], abs=1e-6)  # degC2


def test_the_state_is_that_of_the_last_day_with_a_value() -> None:
    day_c = np.repeat(some_days_c(), 2, axis=0)
    day_c[1, 50:] = np.nan
    belief = follow(UNSURE.take(np.array([0, 0])), day_c, SEASON)
    short = follow(UNSURE, day_c[1:, :50], SEASON[:50])
    assert belief.last.tolist() == [SEASON.size - 1, 49]
    assert belief.mean[1] == pytest.approx(short.mean[0])


def test_without_a_day_nothing_is_known_but_the_curve() -> None:
    belief = follow(UNSURE, np.full((1, SEASON.size), np.nan), SEASON)
    mean_c, cov_c2 = coming_days(belief, 0, SEASON)
    assert belief.last[0] == -1
    assert mean_c == pytest.approx(yearly_terms(SEASON, WAVES) @ UNSURE.terms_c[0])
    weather_c2 = anomaly_cov_c2(UNSURE.anomalies, SEASON)
    terms = yearly_terms(SEASON, WAVES)
    assert cov_c2 == pytest.approx(terms @ UNSURE.cov_c2[0] @ terms.T + weather_c2)


def test_a_long_series_gives_the_curve_that_least_squares_give() -> None:
    climate = generate(seed=2, years=12)
    days = climate.observed_at[::24].astype("datetime64[D]")
    found = fit_curves(climate.daily_c, days)
    curve_c = found.terms_c @ yearly_terms(days, WAVES).T
    number = days.astype(float)
    squares_c = [
        fit_harmonics(number, one, [YEAR_D / k for k in (1, 2, 3)]).temp_c(number)
        for one in climate.daily_c
    ]
    assert np.sqrt(np.mean((curve_c - squares_c) ** 2)) < 0.1  # degC


@cache
def thirty_years() -> GeneratedClimate:
    return generate(seed=3, years=30)


@pytest.mark.parametrize("years", [1, 2, 5])
def test_the_error_of_a_curve_is_as_large_as_it_says(years: int) -> None:
    climate = thirty_years()
    days = climate.observed_at[::24].astype("datetime64[D]")
    noon_d = climate.time_d.reshape(-1, 24).mean(axis=1)
    span = years * 365
    starts = range(0, days.size - span, span)
    pieces_c = np.array([climate.daily_c[1, start : start + span] for start in starts])
    shown = days[:365]
    true_c = climate.curve_c(DEPTHS_CM[1], noon_d)
    surprise = []
    for piece_c, start in zip(pieces_c, starts, strict=True):
        found = fit_curves(piece_c[np.newaxis], days[start : start + span])
        terms = yearly_terms(shown, WAVES)
        error_c = terms @ found.terms_c[0] - true_c[:365]
        surprise.append(error_c**2 / np.einsum("ti,ij,tj->t", terms, found.cov_c2[0], terms))
    # of 6 to 29 pieces: about one, where the error is neither hidden nor made up
    assert 0.4 < np.mean(surprise) < 1.6


def test_a_curve_of_half_a_year_is_less_sure_of_the_other_half() -> None:
    days = days_of("2021-01-01", "2021-06-30")
    half_c = generate(seed=5, years=1).daily_c[1:2, :181]
    found = fit_curves(half_c, days)
    terms = yearly_terms(days_of("2021-03-01", "2021-10-31"), WAVES)
    sd_c = np.sqrt(np.einsum("ti,ij,tj->t", terms, found.cov_c2[0], terms))
    assert sd_c[-60:].min() > 3 * sd_c[:60].max()


def test_a_curve_without_days_is_any_soil() -> None:
    found = fit_curves(np.full((1, SEASON.size), np.nan), SEASON)
    assert found.terms_c[0] == pytest.approx([ANY_SOIL.mean_c, *[0.0] * (TERMS - 1)])
    assert np.sqrt(np.diag(found.cov_c2[0])) == pytest.approx(ANY_SOIL.terms_sd_c)


NEAR = generate(seed=6, years=6)
NEAR_DAYS = NEAR.observed_at[::24].astype("datetime64[D]")


def neighbours(overlap_d: int) -> Curves:
    """Return the curve of a block 2 degC warmer than its neighbour, with so many days of both."""
    of_neighbour_c = NEAR.daily_c[1:2]
    common = np.arange(NEAR_DAYS.size) >= NEAR_DAYS.size - overlap_d
    own_c = np.where(common, of_neighbour_c + 2.0, np.nan)
    return shift_curves(fit_curves(of_neighbour_c, NEAR_DAYS), own_c, of_neighbour_c, NEAR_DAYS)


def test_a_neighbours_curve_is_shifted_by_what_both_have_measured() -> None:
    shift_c = neighbours(60).terms_c[0] - neighbours(0).terms_c[0]
    common_c = yearly_terms(NEAR_DAYS[-60:], WAVES) @ shift_c
    assert common_c == pytest.approx(2.0, abs=0.2)  # degC


def test_without_common_days_a_neighbours_curve_is_as_unsure_as_neighbours_differ() -> None:
    own_c2 = fit_curves(NEAR.daily_c[1:2], NEAR_DAYS).cov_c2[0]
    added_c2 = np.diag(neighbours(0).cov_c2[0] - own_c2)
    assert added_c2 == pytest.approx(BETWEEN_NEIGHBOURS.terms_sd_c**2)


def test_common_days_make_a_neighbours_curve_surer() -> None:
    sd_c = [np.sqrt(neighbours(overlap_d).cov_c2[0, 0, 0]) for overlap_d in (0, 30, 180)]
    assert sd_c[0] > 1.5 > sd_c[1] > sd_c[2]


@pytest.mark.parametrize(("first", "is_year"), [("2024-03-07", True), ("2024-03-08", False)])
def test_a_curve_of_ones_own_takes_300_days_of_the_year(first: str, is_year: bool) -> None:
    days = days_of(first, "2024-12-31")  # by hand: 300 and 299 days
    assert has_own_curve(np.zeros(days.size), days) is is_year


def test_the_same_days_of_two_years_count_once() -> None:
    days = days_of("2023-01-01", "2024-12-31")
    half_c = np.where(days.astype("datetime64[M]").astype(int) % 12 < 6, 10.0, np.nan)
    assert not has_own_curve(half_c, days)
