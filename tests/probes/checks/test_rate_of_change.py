"""Rate of change."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from ioos_qc.qartod import rate_of_change_test

from probes.checks.rate_of_change import RateOfChange, explain_rate_of_change, flag_rate_of_change
from tests.soil_series import series

PLAIN = RateOfChange(rise_c_per_h=4, damping_cm=np.inf, step_c=0)
PUBLISHED = [2, 10, 2.1, 3, 4, 5, 7, 10, 0, 2, 2.2, 2]


def flags(values_c, rate: RateOfChange = PLAIN, step_h=1.0, depth_cm: float = 30) -> list[int]:
    """Return the results of readings."""
    return flag_rate_of_change(series(values_c, step_h, depth_cm), rate).tolist()


def test_the_published_jumps_are_found_and_the_way_back_is_good() -> None:
    # source: [IOOS-QARTOD-TESTS] test_rate_of_change, 2 x 2 a sample: 1,3,3,1,1,1,1,1,3,1,1,1; of
    # its three the third reading is the way back from a lone jump, and the first has none before
    assert flags(PUBLISHED) == [2, 3, 1, 1, 1, 1, 1, 1, 3, 1, 1, 1]


@given(
    st.lists(st.integers(0, 640).map(lambda n: n / 16), min_size=2, max_size=30),
    st.sampled_from([0.5, 1.0, 2.0]),
)
def test_what_is_flagged_the_open_implementation_flags_too(values_c, step_h: float) -> None:
    found = series(values_c, step_h)
    theirs = rate_of_change_test(found.soil_temp_c, found.observed_at, 4.1 / 3600)
    ours = flag_rate_of_change(found, RateOfChange(4.1, np.inf, 0))
    assert set(np.flatnonzero(ours == 3)) <= set(np.flatnonzero(theirs == 3))


def test_only_the_way_back_of_a_lone_jump_is_spared() -> None:
    flapping = [15.0, 30.0, 15.0, 30.0, 15.0]
    assert flags(flapping) == [2, 3, 1, 3, 3]


@pytest.mark.parametrize("step_h", [0.25, 0.5, 1.0, 2.0])
def test_the_limit_is_per_hour_whatever_the_interval(step_h: float) -> None:
    # by hand: 3.9 and 4.1 degC/h about a limit of 4
    below, above = np.arange(4) * 3.9 * step_h, np.arange(4) * 4.1 * step_h
    assert (flags(below, step_h=step_h), flags(above, step_h=step_h)) == (
        [2, 1, 1, 1],
        [2, 3, 3, 3],
    )


def test_a_change_over_a_gap_is_not_evaluated() -> None:
    assert flags([15.0, 30.0], step_h=[1, 6.5]) == [2, 2]


def test_what_5_cm_may_do_50_cm_may_not() -> None:
    # by hand: limits 8 exp(-5/16.5) + 1 = 6.9 degC and 8 exp(-50/16.5) + 1 = 1.4 degC in one hour
    rise = [15.0, 20.0]
    assert (flags(rise, RateOfChange(), depth_cm=5), flags(rise, RateOfChange(), depth_cm=50)) == (
        [2, 1],
        [2, 3],
    )


def test_the_reason_says_how_much_in_which_time() -> None:
    # by hand: 8 exp(-30/16.5) / 2 + 1 = 1.6 degC
    told = explain_rate_of_change(series([15.0, 24.4], 0.5), 1, RateOfChange())
    assert told == "rose 9.4 °C within 0.5 h; at 30 cm 1.6 °C is the limit"


def test_the_reason_says_what_is_missing() -> None:
    told = explain_rate_of_change(series([15.0]), 0, RateOfChange())
    assert told == "no reading in the 6 h before"
