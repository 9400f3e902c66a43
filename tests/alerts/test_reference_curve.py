"""Reference curve R in closed form: root-zone means, five-day means, and the dates that follow."""

from __future__ import annotations

import numpy as np
import pytest

from alerts.root_zone import root_zone_weights
from alerts.rules import GRAPE_PHYLLOXERA
from alerts.windows import Span, find_spans, trailing_mean
from probes.units import delta_f_to_c, f_to_c
from tests.reference_curve import (
    COLDEST_DAY,
    DAMPING_DEPTH_M,
    MEAN_C,
    OMEGA,
    PERIOD_DAYS,
    SURFACE_AMPLITUDE_C,
    mean_c,
    shrink,
    soil_temp_c,
)
from tests.windows_by_hand import span

DEPTHS_CM = (10, 30, 60)
# by hand: over 15-30 cm, between 10 and 30 cm, the middle is 22.5 cm: 3/8 of T(10), 5/8 of T(30);
# over 30-45 cm it is 37.5 cm: 3/4 of T(30), 1/4 of T(60); both halves alike
SHARES = np.array([3, 11, 2]) / 16
NORTH, SOUTH = COLDEST_DAY, COLDEST_DAY + PERIOD_DAYS / 2


def root_zone_wave() -> tuple[float, float]:
    """Return amplitude [degC] and lag [rad] of the root zone: waves of one period add as arrows."""
    damped = np.array(DEPTHS_CM) / 100 / DAMPING_DEPTH_M
    arrow = np.sum(SHARES * SURFACE_AMPLITUDE_C * np.exp(-damped - 1j * damped))
    return abs(arrow), -np.angle(arrow)


def five_day_mean_c(day_number: np.ndarray, coldest_day: float) -> np.ndarray:
    """Return R of day n in closed form [degC].

    The trailing five-day mean runs over t = n - 5 .. n: its middle lies at n - 2.5, two days before
    the middle of day n itself, and `shrink(5)` is left of the amplitude.
    """
    amplitude_c, lag = root_zone_wave()
    wave = np.cos(OMEGA * (day_number - 2.5 - coldest_day) - lag)
    return MEAN_C - amplitude_c * shrink(5) * wave


def root_zone_c(day_number: np.ndarray, coldest_day: float) -> np.ndarray:
    """Return root-zone days [degC] by our weights from daily means at the three depths."""
    weights = root_zone_weights(DEPTHS_CM, 15, 45, "even")
    by_depth = [mean_c(z_cm / 100, day_number, 1, coldest_day) for z_cm in DEPTHS_CM]
    return weights @ np.array(by_depth)


@pytest.mark.parametrize(
    ("depth_m", "expected_c"),
    [  # source: [REFERENCE-R], on days 1, 121, 202, 335
        (0.0, [2.6096, 15.4211, 24.9996, 6.0032]),
        (0.1, [3.2531, 14.8516, 24.4824, 6.7097]),
        (0.3, [4.4912, 13.8412, 23.4567, 8.0198]),
        (0.6, [6.2133, 12.6219, 21.9641, 9.7345]),
        (1.0, [8.2342, 11.4766, 20.1108, 11.5816]),
    ],
)
def test_the_closed_form_gives_the_temperatures_of_the_reference(
    depth_m: float, expected_c: list[float]
) -> None:
    found_c = soil_temp_c(depth_m, np.array([1.0, 121.0, 202.0, 335.0]))
    assert found_c == pytest.approx(expected_c, abs=6e-5)  # degC


@pytest.mark.parametrize(
    ("depth_m", "limit_f", "crossing_day"),
    [  # source: [REFERENCE-R]
        (0.1, 60.0, 124.765),
        (0.3, 60.0, 130.985),
        (0.6, 60.0, 140.507),
        (0.1, 64.0, 137.051),
        (0.3, 64.0, 144.547),
        (0.6, 64.0, 156.304),
    ],
)
def test_the_closed_form_crosses_a_limit_on_the_day_of_the_reference(
    depth_m: float, limit_f: float, crossing_day: float
) -> None:
    around_c = soil_temp_c(depth_m, crossing_day + np.array([-6e-4, 6e-4]))  # days
    assert around_c[0] < f_to_c(limit_f) < around_c[1]


@pytest.mark.parametrize("coldest_day", [NORTH, SOUTH], ids=["north", "south"])
def test_root_zone_and_five_day_means_are_those_of_the_closed_form(coldest_day: float) -> None:
    day_number = np.arange(1.0, 731.0)
    means_c = trailing_mean(root_zone_c(day_number, coldest_day), GRAPE_PHYLLOXERA)
    expected_c = five_day_mean_c(day_number, coldest_day)
    assert means_c[4:] == pytest.approx(expected_c[4:], abs=1e-9)  # degC


# by hand, from the closed form: waves of 10.998, 10.059 and 8.798 degC, lagging by 0.0446, 0.1339
# and 0.2678 rad, add by their shares to 10.0592 degC and 0.1302 rad; five days leave 0.99969 of it,
# so R peaks at 23.5561 degC. Fall starts 2 degC (3.6 °F) below that. South all comes 182.5 d later.
@pytest.mark.parametrize(
    ("limit_c", "upward", "day_number"),
    [
        pytest.param(f_to_c(64.0), True, 146.840, id="64 °F upward"),
        pytest.param(23.5561 - delta_f_to_c(3.6), False, 249.839, id="3.6 °F below the peak"),
        pytest.param(f_to_c(60.0), False, 291.857, id="60 °F downward"),
    ],
)
def test_the_five_day_mean_meets_the_limits_on_the_days_worked_out_by_hand(
    limit_c: float, upward: bool, day_number: float
) -> None:
    number = np.array([day_number - 0.002, day_number + 0.002])  # days
    before_c, after_c = five_day_mean_c(number, NORTH)
    assert (before_c < limit_c < after_c) if upward else (before_c > limit_c > after_c)


# by hand: so day 147 of the year is the first at or above 64 °F, 250 the first of fall and 292 the
# first below 60 °F; south, at 329.34, 432.34 and 474.36, days 330, 433 and 475 of 2013
@pytest.mark.parametrize(
    ("coldest_day", "first_number", "expected"),
    [
        pytest.param(
            NORTH,
            1,
            [
                span("spring", "2013-05-27", "2013-07-08", "spent", season=2013),
                span("fall", "2013-09-07", "2013-10-19", "cold", season=2013),
            ],
            id="north",
        ),
        pytest.param(
            SOUTH,
            182,  # 1 July
            [
                span("spring", "2013-11-26", "2014-01-07", "spent", season=2013),
                span("fall", "2014-03-09", "2014-04-20", "cold", season=2013),
            ],
            id="south",
        ),
    ],
)
def test_windows_open_and_close_on_the_days_of_the_closed_form(
    coldest_day: float, first_number: int, expected: list[Span]
) -> None:
    number = np.arange(first_number, first_number + 365)
    days = np.datetime64("2012-12-31") + number
    south = np.array([coldest_day == SOUTH])
    values_c = root_zone_c(number, coldest_day)[np.newaxis]
    assert find_spans(values_c, days, south, GRAPE_PHYLLOXERA, days[-1].item()) == [expected]
