"""How far dates may be off: worked out by hand, on the reference curve, and as laws."""

from __future__ import annotations

from dataclasses import astuple, replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.bounds import SHIFT, Bounds, DateRange, evaluate_with_bounds, find_bounds
from alerts.rules import GRAPE_PHYLLOXERA, WindowRule
from alerts.windows import Span
from probes.units import delta_f_to_c, f_to_c
from tests.alerts.test_windows_laws import Series, series_drawn
from tests.laws import law
from tests.plain_rule import plain_spans
from tests.reference_curve import mean_c
from tests.windows_by_hand import on, soil, span

ONE_F = delta_f_to_c(1.0) / SHIFT  # a standard error that shifts a series by 1 °F
FIRST_CROSSING = replace(  # spring opens at the first day of 64 °F and at no other
    GRAPE_PHYLLOXERA, spring_from=(1, 1), unseen_until=(12, 31), unseen_max_c=99, hot_above_c=99
)


def bounded(
    values_c: list[float | None],
    first_day: date,
    as_of: date,
    error_c: float | np.ndarray = ONE_F,
    rule: WindowRule = GRAPE_PHYLLOXERA,
    south: bool = False,
) -> list[tuple[Span, Bounds]]:
    """Return the spans of one series, each with its bounds."""
    series_c = np.array([values_c], np.float64)
    days = np.datetime64(first_day) + np.arange(series_c.shape[1])
    errors_c = np.broadcast_to(error_c, series_c.shape)
    ((one, bounds),) = evaluate_with_bounds(
        series_c, errors_c, days, np.array([south]), rule, as_of
    )
    return list(zip(one.spans, bounds, strict=True))


def days_between(first: str, last: str | None) -> DateRange:
    return DateRange(on(first), on(last) if last else None)


def test_a_slow_spring_has_a_wide_range() -> None:
    steps = {"2015-01-01": 50, "2015-04-01": 62.5, "2015-04-11": 63.5, "2015-04-21": 64.5}
    first_day, values_c = soil(steps | {"2015-05-01": 65.5}, "2015-06-30")
    ((found, bounds),) = bounded(values_c, first_day, on("2015-05-31"))
    # by hand: R on 21-23 April 63.7, 63.9, 64.1; on 11-13 April 62.7, 62.9, 63.1, one more of
    # which is 64.1; on 1-3 May 64.7, 64.9, 65.1, one less of which is 64.1
    assert (found.opened_on, bounds.opened) == (
        on("2015-04-23"),
        days_between("2015-04-13", "2015-05-03"),
    )
    assert bounds.opened.is_wide(found.opened_on, found.not_before)


def test_a_sudden_spring_has_a_narrow_one() -> None:
    first_day, values_c = soil({"2015-01-01": 50, "2015-04-01": 70}, "2015-04-30")
    ((found, bounds),) = bounded(values_c, first_day, on("2015-04-30"))
    # by hand: R on 1-5 April 54, 58, 62, 66, 70; one more makes 63 of 62, one less 65 of 66
    assert (found.opened_on, bounds.opened) == (
        on("2015-04-04"),
        days_between("2015-04-04", "2015-04-04"),
    )
    assert not bounds.opened.is_wide(found.opened_on, found.not_before)


def test_what_a_colder_soil_never_reaches_may_not_open() -> None:
    first_day, values_c = soil({"2015-01-01": 50, "2015-04-01": 64.5}, "2015-05-31")
    ((found, bounds),) = bounded(values_c, first_day, on("2015-05-31"))
    # by hand: R on 4-5 April 61.6, 64.5; plus one 62.6, 65.5; minus one never above 63.5
    assert (found.opened_on, bounds) == (
        on("2015-04-05"),
        Bounds(days_between("2015-04-05", None), days_between("2015-05-17", "2015-05-17"), False),
    )


def test_a_colder_soil_that_pauses_shows_that_the_window_may_have_paused() -> None:
    steps = {"2015-01-01": 50, "2015-04-01": 66, "2015-04-20": 60.5, "2015-04-27": 66}
    first_day, values_c = soil(steps, "2015-05-31")
    ((found, bounds),) = bounded(values_c, first_day, on("2015-05-31"))
    # by hand: R falls to 60.5 on 24 April; minus one it is 59.5, below 60, and opens again
    assert (found.closed_on, bounds.may_pause) == (on("2015-05-17"), True)
    # by hand: R on 4-5 April 62.8, 66; minus one 65 on the 5th; spent 42 days later
    assert bounds.closed == days_between("2015-05-17", "2015-05-17")


def test_a_warmer_soil_that_stays_open_shows_that_a_pause_may_not_have_been() -> None:
    steps = {"2015-01-01": 50, "2015-04-01": 66, "2015-04-20": 59.5, "2015-04-27": 66}
    first_day, values_c = soil(steps, "2015-05-31")
    (_, first), (_, again) = bounded(values_c, first_day, on("2015-05-31"))
    assert first.closed is not None
    assert (first.closed.latest, again.opened.latest) == (None, None)


def test_a_window_that_is_open_may_have_closed_by_a_colder_soil() -> None:
    steps = {"2015-01-01": 50, "2015-04-01": 66, "2015-04-20": 60.5}
    first_day, values_c = soil(steps, "2015-04-30")
    ((found, bounds),) = bounded(values_c, first_day, on("2015-04-30"))
    # by hand: R on 22-24 April 62.7, 61.6, 60.5; minus one 59.5 on the 24th
    assert (found.closed_on, bounds.closed) == (None, days_between("2015-04-24", None))


def test_a_gap_widens_a_range_and_makes_no_soil_slow() -> None:
    steps = {"2015-01-01": 50, "2015-04-01": None, "2015-04-20": 70}
    first_day, values_c = soil(steps, "2015-04-30")
    ((found, bounds),) = bounded(values_c, first_day, on("2015-04-30"))
    assert bounds.opened == days_between("2015-04-01", "2015-04-23")
    assert not bounds.opened.is_wide(found.opened_on, found.not_before)


# by hand, from the closed form [REFERENCE-R]: the wave of 30 cm has 10.06 degC, so R has fallen by
# 2 degC 37 days after its highest of 1 August, by 0.104 degC a day then; of 0.556 degC the seasonal
# 0.6 times the sine of 23 days less that of -14 days, 0.386 + 0.239, are 0.208 degC or 2 days
def test_what_errs_with_the_season_moves_the_start_of_fall() -> None:
    day = np.arange(1.0, 366.0)
    found = bounded(list(mean_c(0.3, day, 1)), date(2015, 1, 1), date(2015, 12, 31))
    (fall, bounds) = found[-1]
    assert fall.kind == "fall"
    moved = [(one - fall.opened_on).days for one in astuple(bounds.opened)]
    assert moved == pytest.approx([-2, 2], abs=1)  # days


# by hand, from the closed form [REFERENCE-R]: the wave of 30 cm has 10.06 degC and R rises by
# 0.157 degC a day where it meets 64 °F on day 147.0; 10 x 0.157 / 1.2816 = 1.225 degC are 10 days
def test_the_range_of_the_reference_curve_is_its_error_over_its_slope() -> None:
    day = np.arange(1.0, 366.0)
    found = bounded(list(mean_c(0.3, day, 1)), date(2015, 1, 1), date(2015, 12, 31), 1.225)
    spring, bounds = found[0]
    moved = [(one - spring.opened_on).days for one in astuple(bounds.opened)]
    assert moved == pytest.approx([-10, 10], abs=1)  # days: they are whole, and the wave bends


def test_a_span_that_no_shifted_series_has_is_bounded_by_itself() -> None:
    one = span("spring", "2015-04-05", "2015-05-17", "spent")
    assert find_bounds([one], [[], []]) == [
        Bounds(days_between("2015-04-05", None), days_between("2015-05-17", "2015-05-17"), False)
    ]


errors_c = st.floats(0, 2)


@law(75)
@given(series_drawn, errors_c)
def test_every_date_lies_within_its_own_range(series: Series, error_c: float) -> None:
    found = bounded(series.values_c, series.first_day, series.as_of, error_c, south=series.south)
    outside = [
        one
        for one, bounds in found
        if not (
            bounds.opened.earliest <= one.not_before
            and one.opened_on <= (bounds.opened.latest or date.max)
            and (
                one.closed_on is None
                or (
                    bounds.closed is not None
                    and bounds.closed.earliest <= (one.closed_not_before or date.min)
                    and one.closed_on <= (bounds.closed.latest or date.max)
                )
            )
        )
    ]
    assert outside == []


@law(50)
@given(series_drawn)
def test_without_error_a_range_is_what_gaps_leave_open(series: Series) -> None:
    found = bounded(series.values_c, series.first_day, series.as_of, 0.0, south=series.south)
    assert [bounds for _, bounds in found] == [
        Bounds(
            DateRange(one.not_before, one.opened_on),
            one.closed_not_before and DateRange(one.closed_not_before, one.closed_on),
            False,
        )
        for one, _ in found
    ]


@law(75)
@given(series_drawn, errors_c, errors_c)
def test_a_wider_error_never_narrows_the_range_of_a_first_crossing(
    series: Series, one_c: float, other_c: float
) -> None:
    narrow, wide = (
        [
            (bounds.opened.earliest, bounds.opened.latest or date.max)
            for one, bounds in bounded(
                series.values_c, series.first_day, series.as_of, error_c, FIRST_CROSSING
            )
            if one.kind == "spring"
        ][:1]
        for error_c in sorted([one_c, other_c])
    )
    assert [
        (wider[0] <= narrower[0], narrower[1] <= wider[1])
        for narrower, wider in zip(narrow, wide, strict=True)
    ] == [(True, True)] * len(narrow)


@law(40)
@given(series_drawn, st.integers(0, 2**32 - 1))
def test_bounds_are_those_of_the_plain_rule_on_shifted_series(series: Series, seed: int) -> None:
    errors = np.random.default_rng(seed).uniform(0, 2, len(series.values_c))
    found = bounded(series.values_c, series.first_day, series.as_of, errors, south=series.south)
    fall_from = date(2001, 2, 15) if series.south else date(2000, 8, 15)
    since_d = [(series.first_day - fall_from).days + day for day in range(len(errors))]
    seasonal = 0.6 * np.sin(2 * np.pi * np.array(since_d) / 365.2425)
    plain = [
        plain_spans(
            [
                None if value is None else value + move_c
                for value, move_c in zip(
                    series.values_c, (SHIFT * share * errors).tolist(), strict=True
                )
            ],
            series.first_day,
            series.south,
            GRAPE_PHYLLOXERA,
            series.as_of,
        )
        for share in (0, 1, -1, seasonal, -seasonal)
    ]
    assert found == list(zip(plain[0], find_bounds(plain[0], plain[1:]), strict=True))


@pytest.mark.parametrize(
    ("earliest", "latest", "wide"),
    [
        ("2015-04-20", "2015-04-22", False),
        ("2015-04-19", "2015-04-22", False),  # by hand: one day early, two late
        ("2015-04-18", "2015-04-22", True),
        ("2015-04-17", None, False),
        ("2015-04-16", None, True),
    ],
)
def test_a_range_is_wide_beyond_three_days(earliest: str, latest: str | None, wide: bool) -> None:
    known = on("2015-04-20")
    assert days_between(earliest, latest).is_wide(known, known) is wide


def test_a_warmer_soil_reaches_its_sum_of_degree_days_earlier() -> None:
    rule = replace(
        GRAPE_PHYLLOXERA,
        degree_days="condition",
        degree_days_lower_c=f_to_c(50.0),
        degree_days_upper_c=f_to_c(86.0),
        degree_days_sum_c=delta_f_to_c(320.0),
    )
    first_day, values_c = soil({"2015-01-01": 45, "2015-04-01": 66}, "2015-05-31")
    ((found, bounds),) = bounded(values_c, first_day, on("2015-05-10"), rule=rule)
    # by hand: 16 °F d a day reach 320 in 20 days, 17 in 19, 15 in 22
    assert (found.opened_on, bounds.opened) == (
        on("2015-04-20"),
        days_between("2015-04-19", "2015-04-22"),
    )


def test_the_degree_days_of_hours_shift_as_those_of_days_do() -> None:
    rule = replace(
        GRAPE_PHYLLOXERA,
        degree_days="condition",
        degree_days_lower_c=f_to_c(50.0),
        degree_days_upper_c=f_to_c(86.0),
        degree_days_sum_c=delta_f_to_c(320.0),
    )
    first_day, values_c = soil({"2015-01-01": 45, "2015-04-01": 66}, "2015-05-31")
    days = np.datetime64(first_day) + np.arange(len(values_c))
    warmth_c = np.where(np.array(values_c) > f_to_c(50.0), delta_f_to_c(16.0), 0.0)
    shared = (np.array([values_c]), np.full((1, days.size), ONE_F), days, np.array([False]), rule)
    by_hours, by_means = (
        evaluate_with_bounds(*shared, on("2015-05-10"), warmth)
        for warmth in (warmth_c[np.newaxis], None)
    )
    assert by_hours == by_means
