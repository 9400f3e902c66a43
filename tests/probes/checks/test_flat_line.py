"""Flat line."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from ioos_qc.qartod import flat_line_test

from probes.checks.flat_line import FlatLine, explain_flat_line, flag_flat_line
from tests.soil_series import series

PUBLISHED = [1, 2, 2.0001, 2, 2.0001, 2, 2.0001, 2, 4, 5, 3, 3.0001, 3.0005, 3.00001]
PLAIN = FlatLine(0.01, 3, 5, slower_per_cm=0, zero_curtain_c=0)
SHORT = FlatLine(suspect_h=24, fail_h=72, slower_per_cm=0)


def flags(values_c, flat: FlatLine = PLAIN, step_h=1.0) -> list[int]:
    """Return the results of readings at 30 cm."""
    return flag_flat_line(series(values_c, step_h), flat).tolist()


def test_flags_agree_with_the_published_vectors() -> None:
    # source: [IOOS-QARTOD-TESTS] test_flat_line_check, 3 and 5 samples within 0.01; of the first
    # reading nothing is known
    assert flags(PUBLISHED) == [2, 1, 1, 1, 3, 3, 4, 4, 1, 1, 1, 1, 1, 3]


@given(
    st.lists(st.sampled_from([15.0, 15.0, 15.0, 15.004, 15.5]), min_size=3, max_size=40),
    st.integers(2, 5),
)
def test_where_a_result_is_known_the_open_implementation_has_the_same(values_c, hours: int) -> None:
    found = series(values_c)
    theirs = flat_line_test(
        found.soil_temp_c, found.observed_at, hours * 3600, 2 * hours * 3600, 0.01
    )
    ours = flag_flat_line(found, FlatLine(0.01, hours, 2 * hours, 0, zero_curtain_c=0))
    assert ours[ours != 2].tolist() == theirs[ours != 2].tolist()


@pytest.mark.parametrize("step_h", [0.25, 1.0, 3.0, 6.0])
def test_it_takes_as_many_hours_whatever_the_interval(step_h: float) -> None:
    stuck = flag_flat_line(series(np.full(round(96 / step_h), 15.0), step_h), SHORT)
    first_h = [float(np.flatnonzero(stuck == flag)[0]) * step_h for flag in (3, 4)]
    assert first_h == [24, 72]


def test_a_gap_is_no_agreement() -> None:
    # by hand: the same value 30 h apart; the open implementation counts samples and agrees
    step_h = [1.0] * 20 + [30.0] + [1.0] * 30
    found = series(np.full(51, 15.0), step_h)
    theirs = flat_line_test(found.soil_temp_c, found.observed_at, 24 * 3600, 72 * 3600, 0.01)
    ours = flag_flat_line(found, SHORT)
    assert (theirs[30], ours[30], np.flatnonzero(ours == 3)[0]) == (3, 2, 44)


def test_readings_that_differ_are_good_even_over_a_gap() -> None:
    assert flags([15.0, 15.2, 15.2], SHORT, [1, 9, 9]) == [2, 1, 1]


def test_soil_that_freezes_for_weeks_is_not_stuck() -> None:
    # ours: the zero curtain; -0.1 degC for six weeks
    assert set(flags(np.full(24 * 42, -0.1), SHORT)) == {2}


def test_a_sensor_stuck_below_the_zero_curtain_is_found() -> None:
    assert flags(np.full(100, -5.0), SHORT)[-1] == 4


def test_deeper_it_takes_longer() -> None:
    # by hand: 24 h x (1 + 0.2 x 10) = 72 h, and at 30 cm 24 h x 7 = 168 h
    starts = [
        np.flatnonzero(flag_flat_line(series(np.full(300, 15.0), depth_cm=z), FlatLine()) == 3)[0]
        for z in (10, 30)
    ]
    assert starts == [72, 168]


def test_the_reason_says_for_how_long() -> None:
    told = explain_flat_line(series(np.full(200, 15.0)), 199, FlatLine())
    assert told == "has stayed the same for 168 h, the limit at 30 cm"
