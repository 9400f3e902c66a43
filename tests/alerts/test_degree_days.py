"""Degree-days against published answers and against adding up hour by hour."""

from __future__ import annotations

from math import isnan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.degree_days import by_day_means, by_hours

temperatures = st.floats(-20, 60)


def hours_of_sine(coldest: float, warmest: float) -> np.ndarray:
    """Return the hours of a day along a sine; an hour's mean hides what turns within it."""
    moment = (np.arange(24 * 60) + 0.5) / (24 * 60)
    curve = (coldest + warmest) / 2 + (warmest - coldest) / 2 * np.sin(2 * np.pi * moment)
    return curve.reshape(24, 60).mean(axis=1)


def test_hours_are_summed_as_they_are() -> None:
    # by hand: 6 h at 5 above 10, 6 h capped at 10 above it, 12 h below: 6 * 5 / 24 + 6 * 10 / 24
    hourly_c = np.array([15.0] * 6 + [35.0] * 6 + [2.0] * 12)
    assert by_hours(hourly_c, 10.0, 20.0) == pytest.approx(3.75)  # degC d


def test_hours_of_many_series_and_days_are_summed_at_once() -> None:
    hourly_c = np.full((3, 5, 24), 12.0)
    assert (by_hours(hourly_c, 10.0, 20.0) == np.full((3, 5), 2.0)).all()


def test_a_missing_hour_leaves_its_day_without_a_value() -> None:
    hourly_c = np.full((2, 24), 12.0)
    hourly_c[1, 5] = np.nan
    assert [isnan(value) for value in by_hours(hourly_c, 10.0, 20.0)] == [False, True]


@pytest.mark.parametrize(
    ("coldest_f", "warmest_f", "expected"),
    [  # source: [UC-DEGREE-DAYS]
        (38, 55, 1.19),
        (36, 67, 5.71),
        (37, 59, 2.56),
        (36, 58, 2.13),
        (41, 50, 0.0),
        (37, 53, 0.56),
    ],
)
def test_the_hours_of_a_sine_give_the_answers_of_a_university(
    coldest_f: float, warmest_f: float, expected: float
) -> None:
    found = by_hours(hours_of_sine(coldest_f, warmest_f), 50.0, 70.0)
    assert found == pytest.approx(expected, abs=0.04)  # degF d


@pytest.mark.parametrize(
    ("coldest_c", "warmest_c", "expected"),
    [  # source: [DEGREE-DAY-PACKAGE], with the decimals of a horizontal cut-off by hand
        (7, 14, 0.4681),
        (7, 10, 0.0),
        (13, 14, 1.5),
        (13, 40, 12.9443),
        (7, 40, 10.9397),
        # by hand: 33 - 12 all day; published as 5
        (35, 40, 21.0),
    ],
)
def test_the_hours_of_a_sine_give_the_values_of_a_package_but_for_the_one_that_is_wrong(
    coldest_c: float, warmest_c: float, expected: float
) -> None:
    found = by_hours(hours_of_sine(coldest_c, warmest_c), 12.0, 33.0)
    assert found == pytest.approx(expected, abs=0.04)  # degC d


def test_a_day_that_does_not_vary_has_the_same_by_its_mean_and_by_its_hours() -> None:
    daily_c = np.array([5.0, 13.0, 25.0, np.nan])
    hourly_c = np.repeat(daily_c[:, np.newaxis], 24, axis=1)
    expected = by_hours(hourly_c, 10.0, 20.0)
    assert by_day_means(daily_c, 10.0, 20.0) == pytest.approx(expected, nan_ok=True)


@given(st.lists(temperatures, min_size=24, max_size=24), st.tuples(temperatures, temperatures))
def test_the_hours_are_the_sum_hour_by_hour(
    hourly_c: list[float], thresholds_c: tuple[float, float]
) -> None:
    lower, upper = sorted(thresholds_c)
    summed = sum(max(0.0, min(value, upper) - lower) for value in hourly_c) / 24
    assert by_hours(np.array(hourly_c), lower, upper) == pytest.approx(summed, abs=1e-9)
