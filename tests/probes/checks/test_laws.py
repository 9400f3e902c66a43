"""Laws of the checks, whatever the readings hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from probes.checks import (
    TESTS,
    ProbeSeries,
    Thresholds,
    check_logger,
    reach,
    read_thresholds,
    roll_up,
    unpack,
)
from probes.frames import SUSPECT
from tests.soil_series import START, US_PER_HOUR, wave

# short windows, so that few readings fill them
SHORT = read_thresholds(
    {
        "flat_line": {"suspect_h": 4, "fail_h": 8, "slower_per_cm": 0.0, "zero_curtain_c": 0.0},
        "attenuated": {"window_h": 8, "suspect_c": 2, "zero_curtain_c": 0.0},
        "neighbours": {"days": 1},
        "climatology": {"needs_years": 1, "around_days": 3, "margin_c": 1},
    }
)
LATER = replace(SHORT, spike=replace(SHORT.spike, later=True))
OF_DIFFERENCES = ("spike", "rate_of_change", "flat_line", "attenuated", "daily_range", "neighbours")
FAULTS_C = (85.0, -127.0, 30.0, 22.0, 5.0)


@st.composite
def loggers(draw: st.DrawFn) -> list[ProbeSeries]:
    """Readings of one to three depths over four days, with gaps, repeats and faults."""
    probes = []
    for depth_cm in draw(st.lists(st.sampled_from([5.0, 15, 30, 60]), unique=True, min_size=1,
                                  max_size=3)):  # fmt: skip
        good = wave(4, draw(st.sampled_from([0.25, 4.0, 16.0])), depth_cm=depth_cm)
        value_c = np.round(good.soil_temp_c * 16) / 16
        stuck_from = draw(st.integers(0, 90))
        value_c[stuck_from : stuck_from + draw(st.integers(0, 12))] = 17.5
        faults = st.tuples(st.integers(0, 95), st.sampled_from(FAULTS_C))
        for place, fault_c in draw(st.lists(faults, max_size=6)):
            value_c[place] = fault_c
        there = np.ones(96, np.bool_)
        for place, hours in draw(st.lists(st.tuples(st.integers(0, 95), st.integers(1, 9)),
                                          max_size=3)):  # fmt: skip
            there[place : place + hours] = False
        late_us = draw(st.sampled_from([0, US_PER_HOUR // 2]))
        at = good.observed_at + np.timedelta64(late_us, "us")
        probes.append(ProbeSeries(at, value_c, depth_cm).where(there))
    return probes


def cut(probes: list[ProbeSeries], since: np.datetime64, until: np.datetime64):
    """Return the readings of a span, its ends among them."""
    return [one.where((one.observed_at >= since) & (one.observed_at <= until)) for one in probes]


def listed(codes: list[np.ndarray]) -> list[list[int]]:
    """Return codes in a form that compares."""
    return [code.tolist() for code in codes]


@given(loggers(), st.integers(0, 96))
def test_a_flag_uses_nothing_observed_later(probes: list[ProbeSeries], hour: int) -> None:
    as_of = START + np.timedelta64(hour * US_PER_HOUR, "us")
    then = check_logger(cut(probes, START, as_of), SHORT)
    now = [
        code[one.observed_at <= as_of]
        for one, code in zip(probes, check_logger(probes, SHORT), strict=True)
    ]
    assert listed(then) == listed(now)


@given(loggers(), st.integers(6, 90), st.sampled_from([SHORT, LATER]))
def test_what_lies_beyond_its_reach_does_not_touch_a_flag(
    probes: list[ProbeSeries], hour: int, thresholds: Thresholds
) -> None:
    tests = [test for test in TESTS if test != "climatology"]
    looks = reach(thresholds, 60.0, tests)
    first = START + np.timedelta64(hour, "h")
    around = cut(probes, first - np.timedelta64(looks.before), first + np.timedelta64(looks.after))
    here = [code[one.observed_at == first] for one, code in zip(
        around, check_logger(around, thresholds, tests), strict=True)]  # fmt: skip
    whole = [code[one.observed_at == first] for one, code in zip(
        probes, check_logger(probes, thresholds, tests), strict=True)]  # fmt: skip
    assert listed(here) == listed(whole)


@given(loggers())
def test_a_later_check_touches_spikes_and_what_is_judged_without_them(probes) -> None:
    changed = set()
    for one, other in zip(check_logger(probes, SHORT), check_logger(probes, LATER), strict=True):
        before, after = unpack(one), unpack(other)
        changed |= {test for test in TESTS if (before[test] != after[test]).any()}
    assert changed <= {"spike", "climatology", "daily_range", "neighbours"}


@given(loggers(), st.permutations(range(3)))
def test_the_order_of_the_probes_does_not_matter(probes, order: list[int]) -> None:
    order = [place for place in order if place < len(probes)]
    turned = check_logger([probes[place] for place in order], SHORT)
    straight = check_logger(probes, SHORT)
    assert listed(turned) == listed([straight[place] for place in order])


@given(loggers(), st.integers(-20_000, 20_000))
def test_the_date_does_not_matter_without_history(probes: list[ProbeSeries], days: int) -> None:
    moved = [
        replace(one, observed_at=one.observed_at + np.timedelta64(days, "D")) for one in probes
    ]
    assert listed(check_logger(moved, SHORT)) == listed(check_logger(probes, SHORT))


@given(loggers(), st.sampled_from([-4.0, 0.5, 8.0]))
def test_an_offset_does_not_matter_to_what_judges_differences(probes, offset_c: float) -> None:
    believed = [one.where(np.abs(one.soil_temp_c) < 50) for one in probes]
    warmer = [replace(one, soil_temp_c=one.soil_temp_c + offset_c) for one in believed]
    assert [
        {test: flag.tolist() for test, flag in unpack(code).items() if test in OF_DIFFERENCES}
        for code in check_logger(warmer, SHORT)
    ] == [
        {test: flag.tolist() for test, flag in unpack(code).items() if test in OF_DIFFERENCES}
        for code in check_logger(believed, SHORT)
    ]


@given(loggers(), st.integers(1, 90))
def test_readings_that_do_not_cover_the_time_are_never_flat(probes, place: int) -> None:
    # with a hole of 8 hours behind it, no reading has 4 hours of readings before it for 4 hours
    flat = []
    for one in probes:
        hole = (one.observed_at > START + np.timedelta64(place, "h")) & (
            one.observed_at <= START + np.timedelta64(place + 8, "h")
        )
        left = one.where(~hole)
        code = check_logger([left], SHORT)[0]
        since = left.observed_at - (START + np.timedelta64(place, "h"))
        behind = (since > np.timedelta64(0)) & (since < np.timedelta64(12, "h"))
        flat += (unpack(code)["flat_line"][behind] >= SUSPECT).tolist()
    assert not any(flat)


@given(loggers())
def test_checks_change_no_value(probes: list[ProbeSeries]) -> None:
    before = [(one.observed_at.copy(), one.soil_temp_c.copy()) for one in probes]
    check_logger(probes, SHORT)
    assert all(
        (one.observed_at == at).all() and (one.soil_temp_c == value_c).all()
        for one, (at, value_c) in zip(probes, before, strict=True)
    )


@given(loggers())
def test_a_site_that_asks_for_range_only_gets_nothing_else(probes: list[ProbeSeries]) -> None:
    codes = check_logger(probes, SHORT, ("gross_range",))
    assert [roll_up(code).tolist() for code in codes] == [
        unpack(code)["gross_range"].tolist() for code in check_logger(probes, SHORT)
    ]
