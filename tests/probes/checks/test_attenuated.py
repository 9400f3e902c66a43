"""Attenuated signal."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from ioos_qc.qartod import attenuated_signal_test

from probes.checks.attenuated import Attenuated, explain_attenuated, flag_attenuated
from tests.soil_series import series, wave


@given(st.lists(st.integers(0, 64).map(lambda n: 15 + n / 16), min_size=6, max_size=40))
def test_where_a_result_is_known_the_open_implementation_has_the_same(values_c) -> None:
    found = series(values_c)
    # its window leaves its own beginning out: a second more takes it in
    theirs = attenuated_signal_test(
        *(found.soil_temp_c, found.observed_at, 2.0, 1.0),
        test_period=4 * 3600 + 1,
        min_period=4 * 3600,
        check_type="range",
    )
    ours = flag_attenuated(found, Attenuated(4, 2.0, 1.0, np.inf, zero_curtain_c=0))
    known = (ours != 2) & (np.arange(len(values_c)) > 3)
    assert ours[known].tolist() == theirs[known].tolist()


def test_a_signal_that_is_nearly_gone_fails() -> None:
    # by hand: 0.1 degC x exp(-10/10) = 0.037 degC is the least at 10 cm, over five days
    result = flag_attenuated(wave(6, 0.03, depth_cm=10), Attenuated())
    assert (set(result[:120]), set(result[120:])) == ({2}, {4})


def test_a_weak_signal_is_suspect_at_10_cm_and_good_at_50_cm() -> None:
    # by hand: 1 degC x exp(-1) = 0.37 degC and 1 degC x exp(-5) = 0.007 degC
    shallow, deep = (flag_attenuated(wave(6, 0.2, depth_cm=z), Attenuated()) for z in (10, 50))
    assert (shallow[-1], deep[-1]) == (3, 1)


def test_a_gap_leaves_it_not_evaluated_until_the_window_is_covered_again() -> None:
    weak = wave(20, 0.2, depth_cm=10)
    gap = np.ones(480, np.bool_)
    gap[240:247] = False
    result = flag_attenuated(weak.where(gap), Attenuated())
    assert (result[239], set(result[240:359]), result[361]) == (3, {2}, 3)


def test_a_flat_line_is_left_to_its_own_check() -> None:
    assert set(flag_attenuated(series(np.full(200, 15.0)), Attenuated())) == {2}


def test_soil_that_freezes_for_weeks_is_not_attenuated() -> None:
    assert set(flag_attenuated(wave(20, 0.02, mean_c=-0.1, depth_cm=10), Attenuated())) == {2}


def test_the_reason_says_how_little_it_moved() -> None:
    # by hand: exp(-10/10) = 0.368
    told = explain_attenuated(wave(6, 0.2, depth_cm=10), 143, Attenuated())
    assert told == "has moved by 0.200 °C over 120 h; at 10 cm 0.368 °C is the least"
