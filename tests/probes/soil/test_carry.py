"""A temperature carried down: against the closed form, and against real probes held back."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from probes.soil.carry import (
    TYPICAL_GROUND,
    Carried,
    Ground,
    Way,
    by_conduction,
    by_waves,
    carry,
    sunk,
)
from probes.soil.damped_wave import YEAR_D, DampedWave
from probes.soil.diffusivity import find_diffusivity
from probes.soil.harmonics import fit_harmonics
from tests.soil_hours import PROFILE_DEPTHS_CM, profile_hours

GROUND = Ground(5e-7, 1.2)
ANNUAL = DampedWave(13.0, 11.0, 20.0, 5e-7, YEAR_D)
DAILY = DampedWave(0.0, 6.0, 0.2, 5e-7, 1.0)
HOURS_D = np.arange(200 * 24) / 24

both_ways = pytest.mark.parametrize("way", [by_waves, by_conduction])


def truth_c(depth_m: float) -> NDArray[np.float64]:
    """Return soil with a yearly and a daily wave [degC]."""
    return ANNUAL.temp_c(depth_m, HOURS_D) + DAILY.temp_c(depth_m, HOURS_D)


def carried_from_ten_cm(value_c: NDArray[np.float64], distance_m: float, way: Way) -> Carried:
    """Return what becomes of a series at 10 cm, its yearly wave known."""
    annual = fit_harmonics(HOURS_D, ANNUAL.temp_c(0.10, HOURS_D), (YEAR_D,))
    return carry(HOURS_D, value_c, annual, distance_m, GROUND, way)


@both_ways
def test_two_waves_are_carried_as_the_closed_form_has_them(way: Way) -> None:
    found = carried_from_ten_cm(truth_c(0.10), 0.20, way)
    # the daily wave of the time before the series is not known, and fades with the days
    error_c = (found.temp_c - truth_c(0.30))[240:]
    assert np.abs(error_c).max() < 0.01  # degC


def test_sunk_waves_are_those_of_the_closed_form() -> None:
    upper = fit_harmonics(HOURS_D, truth_c(0.10), (YEAR_D, 1.0))
    assert sunk(upper, 0.20, 5e-7).temp_c(HOURS_D) == pytest.approx(truth_c(0.30), abs=1e-8)


@both_ways
def test_nothing_is_known_below_when_the_series_has_just_begun(way: Way) -> None:
    # by hand: half of a step has come through 20 cm after 0.04 / (4 * 0.4769^2 * 5e-7) s = 24.4 h
    found = carried_from_ten_cm(truth_c(0.10), 0.20, way)
    assert np.argmax(~np.isnan(found.temp_c)) == pytest.approx(24.4, abs=1.0)  # h


@both_ways
def test_a_gap_of_ten_days_leaves_a_hole(way: Way) -> None:
    value_c = truth_c(0.10)
    value_c[2_400:2_640] = np.nan
    found_c = carried_from_ten_cm(value_c, 0.20, way).temp_c
    assert np.isnan(found_c[2_450:2_640]).all()


@both_ways
def test_a_gap_of_ten_days_makes_the_days_after_it_less_certain(way: Way) -> None:
    value_c = truth_c(0.10)
    value_c[2_400:2_640] = np.nan
    sd_c = carried_from_ten_cm(value_c, 0.20, way).sd_c
    assert sd_c[2_700] > sd_c[3_300]


def test_even_in_well_known_ground_some_uncertainty_is_left() -> None:
    annual = fit_harmonics(HOURS_D, ANNUAL.temp_c(0.10, HOURS_D), (YEAR_D,))
    found = carry(HOURS_D, truth_c(0.10), annual, 0.20, Ground(5e-7, 1.0))
    assert found.sd_c.min() >= 0.2  # degC


@pytest.mark.parametrize("distance_m", [-0.05, 0.0])
def test_nothing_is_carried_up_or_left_in_place(distance_m: float) -> None:
    with pytest.raises(ValueError, match="is not below the probe"):
        carried_from_ten_cm(truth_c(0.10), distance_m, by_waves)


# Real probes held back [UTAH-PROFILE]: 10 cm carried to 20, 30 and 40 cm.


def daily_c(hourly_c: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the mean of each day that has all its hours [degC]."""
    return hourly_c.reshape(-1, 24).mean(axis=1)


def held_back(depth_cm: int, ground: str, way: Way) -> tuple[NDArray[np.float64], ...]:
    """Return daily errors and their standard deviation as stated [degC]."""
    time_d, hourly_c = profile_hours()
    shallow_c, ten_c, deep_c = hourly_c[[0, 1, PROFILE_DEPTHS_CM.index(depth_cm)]]
    distance_m = (depth_cm - 10) / 100
    soils = {
        "typical": TYPICAL_GROUND,
        "of 5 to 10 cm": Ground(find_diffusivity(time_d, shallow_c, ten_c, 0.05).best, 1.4),
        "in between": Ground(find_diffusivity(time_d, ten_c, deep_c, distance_m).best, 1.1),
    }
    annual = fit_harmonics(time_d, ten_c, (YEAR_D,))
    found = carry(time_d, ten_c, annual, distance_m, soils[ground], way)
    return daily_c(found.temp_c - deep_c), daily_c(found.sd_c)


def rmse_c(error_c: NDArray[np.float64]) -> float:
    return float(np.sqrt(np.nanmean(error_c**2)))


@pytest.mark.parametrize(
    ("depth_cm", "ground", "waves_c", "conduction_c"),
    [  # as found, of daily means: the waves win by a hair everywhere, and are what `carry` takes
        (20, "in between", 0.100, 0.100),
        (30, "in between", 0.158, 0.164),
        (40, "in between", 0.230, 0.240),
        (20, "typical", 0.104, 0.105),
        (30, "typical", 0.244, 0.249),
        (40, "typical", 0.406, 0.413),
        # drier soil above says too little of the soil below: worse than a typical value
        (20, "of 5 to 10 cm", 0.134, 0.136),
        (30, "of 5 to 10 cm", 0.333, 0.337),
        (40, "of 5 to 10 cm", 0.533, 0.538),
    ],
)
def test_real_probes_held_back_choose_the_way(
    depth_cm: int, ground: str, waves_c: float, conduction_c: float
) -> None:
    found_c = [rmse_c(held_back(depth_cm, ground, way)[0]) for way in (by_waves, by_conduction)]
    assert found_c == pytest.approx([waves_c, conduction_c], rel=0, abs=0.002)  # degC


@pytest.mark.parametrize(
    ("depth_cm", "expected_c"),
    [(20, 0.750), (30, 1.218), (40, 1.597)],  # as found; left as it is, the 10 cm probe
)
def test_a_carried_temperature_is_four_to_seven_times_nearer_than_the_probe_above(
    depth_cm: int, expected_c: float
) -> None:
    _, hourly_c = profile_hours()
    error_c = daily_c(hourly_c[1] - hourly_c[PROFILE_DEPTHS_CM.index(depth_cm)])
    ratio = rmse_c(error_c) / rmse_c(held_back(depth_cm, "typical", by_waves)[0])
    assert (rmse_c(error_c), 3.9 < ratio < 7.3) == (pytest.approx(expected_c, abs=0.002), True)


@pytest.mark.parametrize("depth_cm", [20, 30, 40])
def test_in_typical_ground_two_thirds_of_the_days_lie_within_the_stated_deviation(
    depth_cm: int,
) -> None:
    error_c, sd_c = held_back(depth_cm, "typical", by_waves)
    known = ~np.isnan(error_c)
    assert np.mean(np.abs(error_c[known]) <= sd_c[known]) >= 0.68
