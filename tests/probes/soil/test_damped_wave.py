"""The damped wave against published values and the reference curve."""

from __future__ import annotations

import numpy as np
import pytest

from probes.soil.damped_wave import YEAR_D, DampedWave, damping_depth_m

REFERENCE_R = DampedWave(13.5, 11.5, 20.0, 5e-7, 365.0)
ENERGYPLUS_ALPHA = 1.08 / (980 * 2570)  # conductivity / (density heat capacity)
FIRST, SECOND = (  # the two cases of [ENERGYPLUS-TESTS]: shift 1 d, shift 60 d
    DampedWave(15.0, 5.0, 1.0, ENERGYPLUS_ALPHA, 365.0),
    DampedWave(18.0, 3.0, 60.0, ENERGYPLUS_ALPHA, 365.0),
)


@pytest.mark.parametrize(
    ("depth_m", "expected_c"),
    [  # source: [REFERENCE-R], on days 1, 60, 121, 152, 202, 274, 335
        (0.0, [2.6096, 4.6202, 15.4211, 20.9215, 24.9996, 17.3349, 6.0032]),
        (0.1, [3.2531, 4.7045, 14.8516, 20.2156, 24.4824, 17.6265, 6.7097]),
        (0.3, [4.4912, 4.9493, 13.8412, 18.9074, 23.4567, 18.0903, 8.0198]),
        (0.6, [6.2133, 5.4693, 12.6219, 17.1969, 21.9641, 18.5242, 9.7345]),
        (1.0, [8.2342, 6.3554, 11.4766, 15.3572, 20.1108, 18.7088, 11.5816]),
    ],
)
def test_the_reference_curve_is_met_at_every_depth(depth_m: float, expected_c: list[float]) -> None:
    found_c = REFERENCE_R.temp_c(depth_m, np.array([1.0, 60, 121, 152, 202, 274, 335]))
    assert found_c == pytest.approx(expected_c, rel=0, abs=5e-5)  # degC


@pytest.mark.parametrize(
    ("depth_m", "expected_d"),
    [  # source: [REFERENCE-R], upward through 15.5556, 17.7778 and 18 degC
        (0.1, [124.765, 137.051, 138.331]),
        (0.3, [130.985, 144.547, 145.973]),
        (0.6, [140.507, 156.304, 157.997]),
    ],
)
def test_the_reference_curve_warms_through_a_threshold_on_its_day(
    depth_m: float, expected_d: list[float]
) -> None:
    found = [REFERENCE_R.crossing_days(depth_m, c) for c in (140 / 9, 160 / 9, 18.0)]
    assert [pair and pair[0] for pair in found] == pytest.approx(expected_d, rel=0, abs=6e-4)  # d


@pytest.mark.parametrize("depth_m", [0.0, 0.3, 1.0])
def test_at_both_crossings_the_soil_has_the_threshold(depth_m: float) -> None:
    crossings = REFERENCE_R.crossing_days(depth_m, 16.0)
    assert crossings is not None
    found_c = REFERENCE_R.temp_c(depth_m, np.array(crossings))
    assert found_c == pytest.approx([16.0, 16.0], rel=0, abs=1e-9)  # degC


def test_between_its_crossings_the_soil_is_warmer_than_the_threshold() -> None:
    up_d, down_d = REFERENCE_R.crossing_days(0.3, 16.0) or (0.0, 0.0)
    assert REFERENCE_R.temp_c(0.3, (up_d + down_d) / 2) > 16.0


def test_below_the_deepest_crossing_a_threshold_is_not_reached() -> None:
    deepest_m = REFERENCE_R.deepest_crossing_m(20.0)
    found = [REFERENCE_R.crossing_days(deepest_m + off_m, 20.0) for off_m in (-1e-6, 1e-6)]
    assert [pair is None for pair in found] == [False, True]


def test_a_threshold_that_the_surface_does_not_reach_has_no_depth() -> None:
    assert REFERENCE_R.deepest_crossing_m(26.0) == 0.0


def test_the_mean_itself_is_crossed_at_every_depth() -> None:
    assert REFERENCE_R.deepest_crossing_m(13.5) == float("inf")


@pytest.mark.parametrize(
    ("wave", "depth_m", "second", "expected_c"),
    [  # source: [ENERGYPLUS-TESTS], published to 0.01 degC
        pytest.param(FIRST, 0.0, 0, 10.0, id="first, coldest"),
        pytest.param(FIRST, 0.0, 15_768_000, 20.0, id="first, warmest"),
        pytest.param(FIRST, 0.0, 31_449_600, 10.0, id="first, next year"),
        pytest.param(FIRST, 100.0, 0, 15.0, id="first, deep"),
        # its month n lies at n - 1/2 months of 30 days
        pytest.param(FIRST, 0.0, 15 * 86_400, 10.15, id="first, month 1"),
        pytest.param(FIRST, 0.0, 165 * 86_400, 19.75, id="first, month 6"),
        pytest.param(SECOND, 0.0, 0, 16.46, id="second"),
        pytest.param(SECOND, 0.0, 11_664_000, 17.17, id="second, May"),
        pytest.param(SECOND, 0.0, 24_883_200, 20.12, id="second, October"),
        pytest.param(SECOND, 0.0, 31_536_000, 16.46, id="second, a year on"),
        pytest.param(SECOND, 100.0, 0, 18.0, id="second, deep"),
    ],
)
def test_the_ground_of_a_building_simulation_is_met(
    wave: DampedWave, depth_m: float, second: int, expected_c: float
) -> None:
    found_c = wave.temp_c(depth_m, second / 86_400)
    assert found_c == pytest.approx(expected_c, rel=0, abs=0.01)  # degC


@pytest.mark.parametrize(
    ("month_d", "meets"), [(30, True), (365 / 12, False)], ids=["of 30 days", "a twelfth of a year"]
)
def test_its_sixth_month_is_met_with_months_of_30_days_only(month_d: float, meets: bool) -> None:
    # source: [ENERGYPLUS-TESTS] 19.75 to 0.01 degC; by hand 19.8066 with a twelfth of a year
    found_c = float(FIRST.temp_c(0.0, 5.5 * month_d))
    assert (abs(found_c - 19.75) < 0.01) is meets


@pytest.mark.parametrize(("depth_m", "threshold_c"), [(0.1, 140 / 9), (0.3, 160 / 9), (0.6, 18.0)])
def test_the_reference_curve_cools_through_a_threshold_as_long_after_its_peak_as_it_warmed_before(
    depth_m: float, threshold_c: float
) -> None:
    up_d, down_d = REFERENCE_R.crossing_days(depth_m, threshold_c) or (0.0, 0.0)
    peak_d = 20.0 + 365 / 2 + REFERENCE_R.lag_d(depth_m)  # by hand: half a year after the coldest
    assert peak_d - up_d == pytest.approx(down_d - peak_d, abs=1e-9)  # d


@pytest.mark.parametrize(
    ("conductivity_w_m_k", "capacity_mj_m3_k", "alpha_e6", "daily_m", "annual_m"),
    [  # source: [MOENE-2014] table 2.2, alpha to its two digits; by hand: damping depths
        pytest.param(0.24, 1.28, 0.19, 0.0723, 1.381, id="sand, loose, dry"),
        pytest.param(2.1, 2.12, 0.99, 0.1650, 3.152, id="sand, loose, moist"),
        pytest.param(0.9, 2.27, 0.40, 0.1049, 2.004, id="clay, moist"),
        pytest.param(1.4, 3.10, 0.45, 0.1112, 2.125, id="clay, wet"),
        pytest.param(0.50, 4.01, 0.12, 0.0574, 1.098, id="peat, wet"),
    ],
)
def test_soils_of_a_handbook_damp_waves_as_their_conductivity_and_capacity_say(
    conductivity_w_m_k: float,
    capacity_mj_m3_k: float,
    alpha_e6: float,
    daily_m: float,
    annual_m: float,
) -> None:
    assert conductivity_w_m_k / capacity_mj_m3_k == pytest.approx(alpha_e6, abs=0.006)
    found_m = [damping_depth_m(alpha_e6 * 1e-6, period_d) for period_d in (1.0, 365.0)]
    assert found_m == pytest.approx([daily_m, annual_m], rel=1e-3)


@pytest.mark.parametrize(
    ("diffusivity_m2_s", "daily_m", "annual_m", "annual_lag_d"),
    [  # by hand: sqrt(alpha P / pi), and P / 2 pi d for a year of 365 days
        (2e-7, 0.07416, 1.41691, 41.00),
        (4e-7, 0.10488, 2.00382, 28.99),
        (5e-7, 0.11726, 2.24034, 25.93),
        (7e-7, 0.13875, 2.65080, 21.91),
        (1e-6, 0.16584, 3.16832, 18.34),
    ],
)
def test_damping_depths_and_the_lag_of_a_metre(
    diffusivity_m2_s: float, daily_m: float, annual_m: float, annual_lag_d: float
) -> None:
    annual = DampedWave(10.0, 10.0, 0.0, diffusivity_m2_s, 365.0)
    found = damping_depth_m(diffusivity_m2_s, 1.0), annual.damping_depth_m, annual.lag_d(1.0)
    assert found == pytest.approx((daily_m, annual_m, annual_lag_d), rel=0, abs=0.005)


def test_the_diurnal_wave_of_a_textbook() -> None:
    # source: [CAMPBELL-1998]; sin(w(t - 8 h)) is -cos(w(t - 2 h)); D 0.10 m
    wave = DampedWave(20.0, 15.0, 2 / 24, 0.01 * np.pi / 86_400, 1.0)
    assert wave.temp_c(0.05, 14 / 24) == pytest.approx(27.984211, rel=0, abs=1e-6)  # degC


def test_damping_depths_of_a_grassland_fit_one_diffusivity_within_a_tenth() -> None:
    # source: [JACOBS-2011] 1.80 m annual and 0.10 m daily; one soil would give sqrt(365.2425)
    ratio = damping_depth_m(3.4e-7, YEAR_D) / damping_depth_m(3.4e-7, 1.0)
    assert ratio == pytest.approx(1.80 / 0.10, rel=0.1)
