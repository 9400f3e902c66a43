"""The generated climate obeys the physics of the soil, and is as restless as real soil."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from probes.soil.damped_wave import YEAR_D, damping_depth_m
from probes.soil.diffusivity import find_diffusivity
from probes.soil.harmonics import Harmonics, fit_harmonics
from tests.generated_climate import DEPTHS_CM, GeneratedClimate, Truth, generate

YEARLY, DAILY = 0, 2
PERIODS_D = (YEAR_D, YEAR_D / 2, 1.0, 0.5)
ALPHA = Truth().diffusivity_m2_s

both_waves = pytest.mark.parametrize(
    ("wave", "tolerance"),
    # weather of 30 years blurs the yearly wave; the daily one is known to a thousandth
    [pytest.param(YEARLY, 0.03, id="yearly"), pytest.param(DAILY, 0.01, id="daily")],
)


@cache
def climate() -> GeneratedClimate:
    return generate(seed=1)


@cache
def fits() -> tuple[Harmonics, ...]:
    """Return the waves of each depth."""
    return tuple(
        fit_harmonics(climate().time_d, depth_c, PERIODS_D) for depth_c in climate().soil_temp_c
    )


@cache
def anomalies_c() -> NDArray[np.float64]:
    """Return how daily means stray from the yearly curve, at each depth [degC]."""
    noon_d = climate().time_d.reshape(-1, 24).mean(axis=1)
    curves_c = [climate().curve_c(depth_cm, noon_d) for depth_cm in DEPTHS_CM]
    return climate().daily_c - np.array(curves_c)


def alike(days: int) -> NDArray[np.float64]:
    """Return the correlation of anomalies so many days apart, at each depth."""
    return np.array([np.corrcoef(one[:-days], one[days:])[0, 1] for one in anomalies_c()])


def test_it_is_thirty_years_of_hours_by_their_ends() -> None:
    observed_at = climate().observed_at
    assert (observed_at[0], observed_at[-1], observed_at.size) == (
        np.datetime64("1991-01-01T01:00"),
        np.datetime64("2021-01-01T00:00"),
        10_958 * 24,  # by hand: 30 years, 8 of them leap years
    )


def test_one_seed_gives_one_climate() -> None:
    again = generate(seed=7, years=2).soil_temp_c, generate(seed=7, years=2).soil_temp_c
    assert np.array_equal(*again)


def test_another_seed_gives_other_weather() -> None:
    one, other = (generate(seed=seed, years=2).soil_temp_c for seed in (7, 8))
    assert np.abs(one - other).mean() > 0.5  # degC


@both_waves
@pytest.mark.parametrize("row", [1, 2])
def test_a_wave_shrinks_from_depth_to_depth_as_conduction_has_it(
    wave: int, tolerance: float, row: int
) -> None:
    expected = np.exp(-0.20 / damping_depth_m(ALPHA, PERIODS_D[wave]))
    found = fits()[row].amplitude_c[wave] / fits()[row - 1].amplitude_c[wave]
    assert found == pytest.approx(expected, rel=tolerance)


@both_waves
@pytest.mark.parametrize("row", [1, 2])
def test_a_wave_comes_later_from_depth_to_depth_as_conduction_has_it(
    wave: int, tolerance: float, row: int
) -> None:
    period_d = PERIODS_D[wave]
    expected_d = 0.20 / damping_depth_m(ALPHA, period_d) * period_d / (2 * np.pi)
    lag_d = (fits()[row].peak_d[wave] - fits()[row - 1].peak_d[wave]) % period_d
    assert lag_d == pytest.approx(expected_d, rel=tolerance)


@pytest.mark.parametrize("row", [1, 2])
@pytest.mark.parametrize("first_day", [0, 100, 200, 5_000])
def test_each_month_gives_the_diffusivity_back(first_day: int, row: int) -> None:
    month = slice(first_day * 24, (first_day + 30) * 24)
    upper_c, lower_c = climate().soil_temp_c[row - 1 : row + 1, month]
    found = find_diffusivity(climate().time_d[month], upper_c, lower_c, 0.20)
    assert found.best == pytest.approx(ALPHA, rel=0.02)


@pytest.mark.parametrize("row", [1, 2])
def test_the_methods_agree_on_it(row: int) -> None:
    upper_c, lower_c = climate().soil_temp_c[row - 1 : row + 1]
    assert find_diffusivity(climate().time_d, upper_c, lower_c, 0.20).disagreement < 1.02


def test_anomalies_are_of_the_size_of_real_ones_and_shrink_with_depth() -> None:
    # [US-TW3] at 8, 16 and 32 cm: 1.64, 1.42 and 1.11 degC
    assert anomalies_c().std(axis=1) == pytest.approx([1.62, 1.27, 1.04], abs=0.01)  # degC


def test_anomalies_last_from_day_to_day_like_real_ones_and_longer_with_depth() -> None:
    # [US-TW3] at 8, 16 and 32 cm: 0.91, 0.94 and 0.97
    assert alike(1) == pytest.approx([0.92, 0.97, 0.98], abs=0.01)


def test_a_little_of_an_anomaly_is_left_after_a_month() -> None:
    # [US-TW3] at 8, 16 and 32 cm: 0.13, 0.15 and 0.22
    assert alike(30) == pytest.approx([0.10, 0.18, 0.26], abs=0.01)


def test_the_yearly_curve_is_what_the_years_are_on_average() -> None:
    # by hand: years differ by 0.43 degC, 30 of them know their mean to 0.08
    assert anomalies_c().mean(axis=1) == pytest.approx([0.0] * 3, abs=0.24)  # degC


def test_a_southern_climate_is_warm_in_january() -> None:
    south = generate(seed=1, years=2, truth=Truth(coldest_d=20 + YEAR_D / 2))
    january, july = south.daily_c[1, :31].mean(), south.daily_c[1, 181:212].mean()
    assert january - july > 15  # degC
