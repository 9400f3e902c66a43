"""The damped wave, by which soil is made for tests, against published values."""

from __future__ import annotations

import numpy as np
import pytest

from tests.plain_waves import DampedWave

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


def test_the_diurnal_wave_of_a_textbook() -> None:
    # source: [CAMPBELL-1998]; sin(w(t - 8 h)) is -cos(w(t - 2 h)); D 0.10 m
    wave = DampedWave(20.0, 15.0, 2 / 24, 0.01 * np.pi / 86_400, 1.0)
    assert wave.temp_c(0.05, 14 / 24) == pytest.approx(27.984211, rel=0, abs=1e-6)  # degC
