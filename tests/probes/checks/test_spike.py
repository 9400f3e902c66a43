"""Spike."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from ioos_qc.qartod import spike_test

from probes.checks.spike import Spike, explain_spike, flag_spike
from tests.soil_series import series

PLAIN = Spike(suspect_c=25, fail_c=50, rise_c_per_h=0)
LATER = Spike(suspect_c=25, fail_c=50, rise_c_per_h=0, later=True)
PUBLISHED = [10, 12, 999.99, 13, 15, 40, 9, 9]


def flags(values_c, spike: Spike = PLAIN, step_h=1.0) -> list[int]:
    """Return the results of readings at 30 cm."""
    return flag_spike(series(values_c, step_h), spike).tolist()


def test_the_published_spike_fails_without_its_neighbours() -> None:
    # source: [IOOS-QARTOD-TESTS] test_spike gives 1,4,4,4,1,3,1,1: the good readings beside the
    # spike are flagged with it. by hand: 40 stands 25 above the nearer of its two neighbours, not
    # more; its mean form says 28. Nothing follows the last, which stays as the two before it say
    assert flags(PUBLISHED, LATER) == [2, 1, 4, 1, 1, 1, 1, 1]


def test_causally_a_spike_fails_at_once_and_the_way_back_is_good() -> None:
    assert flags(PUBLISHED) == [2, 2, 4, 1, 1, 1, 1, 1]


@given(
    st.lists(st.integers(-320, 640).map(lambda n: n / 16), min_size=3, max_size=30),
    st.floats(0.5, 20),
)
def test_the_later_check_agrees_with_the_open_implementation(values_c, suspect_c: float) -> None:
    spike = Spike(suspect_c=suspect_c, fail_c=2 * suspect_c, rise_c_per_h=0, later=True)
    theirs = spike_test(np.array(values_c), suspect_c, 2 * suspect_c, method="differential")
    assert flags(values_c, spike)[1:-1] == theirs.tolist()[1:-1]


def test_below_zero_a_good_reading_is_no_spike() -> None:
    # by hand: 0.1. A version of the open implementation took abs() of the neighbours' mean: 6.1
    assert flags([-3.0, -3.1, -3.0, -3.1], Spike(3, 8, later=True)) == [2, 1, 1, 1]


def test_the_first_and_last_reading_are_not_held_against_zero() -> None:
    # that version held the ends against 0: 20 failed thresholds 3 and 8
    assert flags([20.0, 20.1, 20.0, 20.1], Spike(3, 8, later=True)) == [2, 1, 1, 1]


def test_the_later_check_takes_back_what_was_a_step() -> None:
    step = [15.0, 15.0, 24.0, 24.0]
    assert (flags(step, Spike()), flags(step, Spike(later=True))) == ([2, 2, 3, 1], [2, 1, 1, 1])


@pytest.mark.parametrize("step_h", [[1, 1, 4, 1], [1, 4, 1, 1]])
def test_readings_over_a_gap_do_not_lie_beside_each_other(step_h) -> None:
    assert flags([15.0, 15.0, 40.0, 15.0], Spike(), step_h)[2] == 2


def test_a_rise_that_the_soil_manages_is_no_spike() -> None:
    # by hand: 8 degC/h x exp(-5/16.5) = 5.9 degC in one hour, and 3; at 30 cm 1.3 and 3
    values_c = [15.0, 15.0, 23.0]
    shallow = flag_spike(series(values_c, depth_cm=5), Spike())
    deep = flag_spike(series(values_c, depth_cm=30), Spike())
    assert (shallow[2], deep[2]) == (1, 3)


def test_at_an_unknown_depth_it_is_not_evaluated() -> None:
    assert flag_spike(series([15.0, 15.0, 90.0], depth_cm=np.nan), Spike()).tolist() == [2, 2, 2]


def test_the_reason_says_by_how_much() -> None:
    # by hand: 24.4 - 15.0 - 8 exp(-30/16.5) = 8.1
    told = explain_spike(series([15.0, 15.0, 24.4]), 2, Spike())
    assert told == "stands out by 8.1 °C more than the soil does at 30 cm; 3 °C is the limit"
