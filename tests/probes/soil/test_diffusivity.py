"""Diffusivity by four methods: closed form, real soil, and what they say when the model fails."""

from __future__ import annotations

from math import inf, isnan, nan

import numpy as np
import pytest

from probes.soil.diffusivity import (
    Diffusivity,
    by_amplitude,
    by_arctangent,
    by_logarithm,
    by_phase,
    find_diffusivity,
)
from tests.plain_waves import DampedWave
from tests.soil_hours import PROFILE_DEPTHS_CM, profile_hours

WAVE = DampedWave(20.0, 12.0, 0.2, 5e-7, 1.0)
MONTH_D = np.arange(30 * 24) / 24
QUARTER_D = np.arange(40).reshape(10, 4) / 4


def test_an_amplitude_that_halves_in_ten_centimetres() -> None:
    # by hand: 2 pi / 86400 s * 0.01 m2 / (2 ln(2)^2)
    assert by_amplitude(0.10, 10 / 5) == pytest.approx(7.5681e-7, rel=1e-4)  # m2/s


def test_a_lag_of_three_hours_in_ten_centimetres() -> None:
    # by hand: 0.01 m2 / (2 * 2 pi / 86400 s * (10800 s)^2)
    assert by_phase(0.10, 3 / 24) == pytest.approx(5.8946e-7, rel=1e-4)  # m2/s


def test_another_tool_computes_the_same_from_amplitudes_and_from_a_lag() -> None:
    # source: [SOIL-HEAT], thermal_diffusivity_amplitude(10, 5, .1, .2), ..._lag(10800, .1, .2)
    found = by_amplitude(0.10, 10 / 5), by_phase(0.10, 3 / 24)
    assert found == pytest.approx((7.568071180713996e-07, 5.894627521922051e-07), rel=1e-12)


def test_amplitudes_of_the_closed_form() -> None:
    # by hand: 15 exp(-z/d) at 5 and 15 cm, d = 0.11726 m
    assert by_amplitude(0.10, 7.834370 / 3.339257) == pytest.approx(5e-7, rel=1e-5)  # m2/s


def test_the_lag_of_the_closed_form() -> None:
    # by hand: z P / (2 pi d) over 10 cm
    assert by_phase(0.10, 11_726.46 / 86_400) == pytest.approx(5e-7, rel=1e-5)  # m2/s


def test_four_readings_a_day_give_the_diffusivity_by_their_turn() -> None:
    depths_c = WAVE.temp_c(0.05, QUARTER_D), WAVE.temp_c(0.15, QUARTER_D)
    assert by_arctangent(0.10, *depths_c) == pytest.approx(5e-7, rel=1e-9)  # m2/s


def test_four_readings_a_day_give_the_diffusivity_by_their_size() -> None:
    depths_c = WAVE.temp_c(0.05, QUARTER_D), WAVE.temp_c(0.15, QUARTER_D)
    assert by_logarithm(0.10, *depths_c) == pytest.approx(5e-7, rel=1e-9)  # m2/s


def test_the_logarithmic_method_as_it_is_printed_rounds_by_less_than_a_hundredth() -> None:
    # source: [HORTON-1983], (0.0121 dz / ln[sum / sum])^2, from memory
    sizes = [
        np.sum((day_c[:, 0] - day_c[:, 2]) ** 2 + (day_c[:, 1] - day_c[:, 3]) ** 2)
        for day_c in (WAVE.temp_c(0.05, QUARTER_D), WAVE.temp_c(0.15, QUARTER_D))
    ]
    printed = (0.0121 * 0.10 / np.log(sizes[0] / sizes[1])) ** 2
    assert printed == pytest.approx(1.0066 * 5e-7, rel=1e-4)  # m2/s


@pytest.mark.parametrize("ratio", [1.0, 0.8, nan], ids=["equal", "growing", "unknown"])
def test_a_wave_that_does_not_shrink_has_no_diffusivity(ratio: float) -> None:
    assert isnan(by_amplitude(0.10, ratio))


@pytest.mark.parametrize("lag_d", [0.0, -0.1, nan], ids=["none", "before", "unknown"])
def test_a_wave_that_does_not_come_later_has_no_diffusivity(lag_d: float) -> None:
    assert isnan(by_phase(0.10, lag_d))


def test_probes_the_wrong_way_round_have_no_answer_by_four_readings() -> None:
    upper_c, lower_c = WAVE.temp_c(0.05, QUARTER_D), WAVE.temp_c(0.15, QUARTER_D)
    found = by_arctangent(0.10, lower_c, upper_c), by_logarithm(0.10, lower_c, upper_c)
    assert [isnan(value) for value in found] == [True, True]


def test_all_methods_agree_on_one_wave_with_gaps_under_a_trend() -> None:
    upper_c, lower_c = (WAVE.temp_c(z_m, MONTH_D) + 0.1 * MONTH_D for z_m in (0.10, 0.30))
    upper_c[100:130] = np.nan
    found = find_diffusivity(MONTH_D, upper_c, lower_c, 0.20)
    answers = [found.amplitude, found.phase, found.arctangent, found.logarithmic, found.best]
    assert answers == pytest.approx([5e-7] * 5, rel=1e-6)  # m2/s


def test_the_disagreement_is_the_largest_over_the_smallest() -> None:
    assert Diffusivity(4e-7, 5e-7, 6e-7, 8e-7, 0.0, 0.0).disagreement == pytest.approx(2.0)


def test_a_method_without_an_answer_is_utter_disagreement() -> None:
    assert Diffusivity(nan, 5e-7, 6e-7, 8e-7, 0.0, 0.0).disagreement == inf


def test_a_wave_carried_by_water_makes_the_methods_disagree() -> None:
    # water that seeps down damps the wave less and lets it come sooner than conduction would
    upper_c = WAVE.temp_c(0.10, MONTH_D)
    lower_c = 20.0 + 0.7 * (WAVE.temp_c(0.10, MONTH_D - 2 / 24) - 20.0)
    # by hand: by ratio 2 pi/86400 0.04/(2 ln(1/0.7)^2) = 1.14e-5; by lag 5.3e-6: 2.2 times
    found = find_diffusivity(MONTH_D, upper_c, lower_c, 0.20)
    assert found.disagreement == pytest.approx(2.155, rel=0.01)


def test_standard_errors_are_the_spread_of_many_noisy_months() -> None:
    rng = np.random.default_rng(20260504)
    found = [
        find_diffusivity(
            MONTH_D,
            WAVE.temp_c(0.10, MONTH_D) + 0.3 * rng.standard_normal(MONTH_D.size),
            WAVE.temp_c(0.30, MONTH_D) + 0.3 * rng.standard_normal(MONTH_D.size),
            0.20,
        )
        for _ in range(200)
    ]
    spreads = np.std([(one.amplitude, one.phase) for one in found], axis=0)
    errors = np.mean([(one.amplitude_se, one.phase_se) for one in found], axis=0)
    assert errors == pytest.approx(spreads, rel=0.2)  # m2/s


@pytest.mark.parametrize(
    ("upper", "lower", "expected_e7", "disagreement"),
    [  # [UTAH-PROFILE], as found; tight wet soil of 0.4 to 1.2 e-6 m2/s in print [MOENE-2014]
        (5, 10, 4.2, 1.42),
        (10, 20, 5.4, 1.13),
        (20, 30, 8.0, 1.08),
        (30, 40, 7.6, 1.04),
        (40, 50, 7.2, 1.05),
        (50, 60, 6.6, 1.16),
    ],
)
def test_a_real_soil_has_one_diffusivity_by_all_methods_between_each_pair_of_probes(
    upper: int, lower: int, expected_e7: float, disagreement: float
) -> None:
    time_d, hourly_c = profile_hours()
    upper_c, lower_c = (hourly_c[PROFILE_DEPTHS_CM.index(depth_cm)] for depth_cm in (upper, lower))
    found = find_diffusivity(time_d, upper_c, lower_c, (lower - upper) / 100)
    assert (found.best * 1e7, found.disagreement) == pytest.approx(
        (expected_e7, disagreement), rel=0.02
    )
