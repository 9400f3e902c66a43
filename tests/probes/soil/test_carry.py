"""A temperature carried down: against the closed form, and against real probes held back."""

from __future__ import annotations

from math import erfc, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import quad

from probes.soil.carry import (
    TYPICAL_GROUND,
    Carried,
    Ground,
    Way,
    by_steps,
    carry,
)
from probes.soil.damped_wave import YEAR_D
from tests.laws import law
from tests.plain_conduction import by_conduction
from tests.plain_waves import DampedWave, by_waves
from tests.soil_days import soil_days

GROUND = Ground(5e-7, 1.2)
ANNUAL = DampedWave(13.0, 11.0, 20.0, 5e-7, YEAR_D)
MONTHLY = DampedWave(0.0, 3.0, 4.0, 5e-7, 30.0)
DAY_S = 86_400.0
DAYS_D = np.arange(0.5, 3 * 365, dtype=np.float64)

every_way = pytest.mark.parametrize("way", [by_steps, by_waves, by_conduction])


def truth_c(depth_m: float) -> NDArray[np.float64]:
    """Return soil with a yearly and a monthly wave [degC]."""
    return ANNUAL.temp_c(depth_m, DAYS_D) + MONTHLY.temp_c(depth_m, DAYS_D)


def carried_from_ten_cm(value_c: NDArray[np.float64], distance_m: float, way: Way) -> Carried:
    return carry(value_c, DAY_S, distance_m, GROUND, way)


@every_way
def test_two_waves_are_carried_as_the_closed_form_has_them(way: Way) -> None:
    found = carried_from_ten_cm(truth_c(0.10), 0.20, way)
    error_c = (found.temp_c - truth_c(0.30))[2 * 365 : -30]
    assert np.abs(error_c).max() < 0.1  # degC, of waves of 10 and 2 degC


def test_a_step_comes_through_as_the_error_function_has_it() -> None:
    # source: [CARSLAW-1959], erfc(z / sqrt(4 alpha t)), from memory; the mean of each day by quad
    step_c = np.r_[np.zeros(1), np.ones(40)]
    found_c = by_steps(step_c[:, np.newaxis], DAY_S, 0.20, 5e-7)[:, 0]
    expected_c = [
        quad(lambda t_d: erfc(0.20 / sqrt(4 * 5e-7 * DAY_S * t_d)), day, day + 1)[0]
        for day in range(40)
    ]
    assert found_c[1:] == pytest.approx(expected_c, abs=1e-7)  # degC


@every_way
def test_soon_after_the_series_has_begun_little_is_known_below(way: Way) -> None:
    # by hand: after 24.4 h half of a step has come through 20 cm, 0.04 / (4 * 0.4769^2 * 5e-7) s;
    # the other half is unseen, of 7 degC
    sd_c = carried_from_ten_cm(truth_c(0.10), 0.20, way).sd_c
    assert sd_c[0] > 3.5 > sd_c[2]
    assert sd_c[300] < 0.5


@every_way
def test_a_day_without_a_reading_above_has_no_temperature_below(way: Way) -> None:
    value_c = truth_c(0.10)
    value_c[600:610] = np.nan
    found_c = carried_from_ten_cm(value_c, 0.20, way).temp_c
    assert np.flatnonzero(np.isnan(found_c)).tolist() == list(range(600, 610))


@every_way
def test_a_gap_of_ten_days_makes_the_days_after_it_less_certain(way: Way) -> None:
    value_c = truth_c(0.10)
    value_c[600:610] = np.nan
    sd_c = carried_from_ten_cm(value_c, 0.20, way).sd_c
    assert sd_c[610] > sd_c[620] > sd_c[599]


def test_even_in_well_known_ground_some_uncertainty_is_left() -> None:
    found = carry(truth_c(0.10), DAY_S, 0.20, Ground(5e-7, 1.0))
    assert found.sd_c.min() >= 0.4  # degC


def test_a_probe_without_readings_says_nothing() -> None:
    found = carry(np.full(10, np.nan), DAY_S, 0.20, GROUND)
    assert np.isnan([found.temp_c, found.sd_c]).all()


@pytest.mark.parametrize("distance_m", [-0.05, 0.0])
def test_nothing_is_carried_up_or_left_in_place(distance_m: float) -> None:
    with pytest.raises(ValueError, match="is not below the probe"):
        carried_from_ten_cm(truth_c(0.10), distance_m, by_steps)


@given(st.sets(st.integers(0, 199), max_size=40), st.integers(1, 200))
@law(40)
def test_what_comes_later_changes_no_day(missing: set[int], end: int) -> None:
    value_c = truth_c(0.10)[:200]
    value_c[sorted(missing)] = np.nan
    whole, so_far = (carry(one_c, DAY_S, 0.20, GROUND) for one_c in (value_c, value_c[:end]))
    assert whole.temp_c[:end] == pytest.approx(so_far.temp_c, abs=1e-9, nan_ok=True)
    assert whole.sd_c[:end] == pytest.approx(so_far.sd_c, abs=1e-9, nan_ok=True)


def test_what_is_more_than_three_years_ago_changes_no_day() -> None:
    long_c = np.concatenate([truth_c(0.10) + 5, truth_c(0.10), truth_c(0.10)])
    whole_c, late_c = (carry(one, DAY_S, 0.20, GROUND).temp_c for one in (long_c, long_c[1095:]))
    assert late_c[1095:] == pytest.approx(whole_c[2 * 1095 :], abs=1e-9)


# Real probes held back, in typical ground, from the 31st day on: [US-TW3] over five years with
# gaps of months, [UTAH-PROFILE] over seven months, so that less than a year is known.

HELD_BACK = pytest.mark.parametrize(
    ("soil", "from_cm", "to_cm", "steps_c", "waves_c", "conduction_c", "as_it_is_c"),
    [  # as found, root mean square of daily means; as it is: the probe above
        ("twitchell", 8, 16, 0.273, 0.274, 0.276, 0.583),
        ("twitchell", 8, 32, 0.499, 0.500, 0.500, 1.478),
        ("twitchell", 16, 32, 0.292, 0.295, 0.292, 0.934),
        ("profile", 10, 20, 0.156, 0.143, 0.147, 0.771),
        ("profile", 10, 30, 0.243, 0.211, 0.231, 1.244),
        ("profile", 10, 40, 0.337, 0.302, 0.335, 1.629),
    ],
)


def rmse_c(error_c: NDArray[np.float64]) -> float:
    return float(np.sqrt(np.nanmean(error_c[30:] ** 2)))


@HELD_BACK
def test_real_probes_held_back_show_that_the_ways_are_equals_and_far_nearer_than_the_probe_above(
    soil: str,
    from_cm: int,
    to_cm: int,
    steps_c: float,
    waves_c: float,
    conduction_c: float,
    as_it_is_c: float,
) -> None:
    _, by_depth = soil_days(soil)
    upper_c, lower_c = by_depth[from_cm], by_depth[to_cm]
    distance_m = (to_cm - from_cm) / 100
    found_c = [
        rmse_c(carry(upper_c, DAY_S, distance_m, TYPICAL_GROUND, way).temp_c - lower_c)
        for way in (by_steps, by_waves, by_conduction)
    ]
    expected_c = [steps_c, waves_c, conduction_c, as_it_is_c]
    assert [*found_c, rmse_c(upper_c - lower_c)] == pytest.approx(expected_c, rel=0, abs=0.002)


@pytest.mark.parametrize(
    ("soil", "from_cm", "to_cm", "share"),
    [
        ("twitchell", 8, 16, 0.74),
        ("twitchell", 8, 32, 0.75),  # its depths are not documented
        ("twitchell", 16, 32, 0.87),
        ("profile", 10, 20, 0.99),
        ("profile", 10, 30, 1.0),
        ("profile", 10, 40, 1.0),
    ],
)
def test_more_than_two_thirds_of_the_days_lie_within_the_stated_deviation(
    soil: str, from_cm: int, to_cm: int, share: float
) -> None:
    _, by_depth = soil_days(soil)
    found = carry(by_depth[from_cm], DAY_S, (to_cm - from_cm) / 100, TYPICAL_GROUND)
    error_c = found.temp_c - by_depth[to_cm]
    known = ~np.isnan(error_c)
    within = np.mean(np.abs(error_c[known]) <= found.sd_c[known])
    assert within == pytest.approx(share, abs=0.01)
