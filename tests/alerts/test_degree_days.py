"""Degree-days against published answers and against adding up many short moments."""

from __future__ import annotations

from collections.abc import Callable
from math import isnan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.degree_days import by_day_means, by_hours, by_sine, by_triangle

temperatures = st.floats(-20, 60)
MOMENTS = (np.arange(100_000) + 0.5) / 100_000


def day(*extremes: float) -> tuple[np.ndarray, ...]:
    return tuple(np.array([value]) for value in extremes)


@pytest.mark.parametrize(
    ("coldest_f", "warmest_f", "sine", "triangle"),
    [  # source: [UC-DEGREE-DAYS]
        (38, 55, 1.19, 0.74),
        (36, 67, 5.71, 4.66),
        (37, 59, 2.56, 1.84),
        (36, 58, 2.13, 1.45),
        (41, 50, 0.00, 0.00),
        (37, 53, 0.56, 0.28),
    ],
)
def test_answers_of_a_university_are_met(
    coldest_f: float, warmest_f: float, sine: float, triangle: float
) -> None:
    found = [way(*day(coldest_f, warmest_f), 50.0, 70.0)[0] for way in (by_sine, by_triangle)]
    assert found == pytest.approx([sine, triangle], rel=0, abs=0.0051)  # degF d; 1.4545 prints 1.45


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
def test_values_of_a_package_are_met_but_for_the_one_that_is_wrong(
    coldest_c: float, warmest_c: float, expected: float
) -> None:
    found = by_sine(*day(coldest_c, warmest_c), 12.0, 33.0)[0]
    assert found == pytest.approx(expected, rel=0, abs=5e-5)  # degC d


def test_the_triangle_of_a_package_is_met() -> None:
    # by hand: (14 - 12)^2 / (2 * (14 - 7)) = 0.2857, published 0.29 [DEGREE-DAY-PACKAGE]
    assert by_triangle(*day(7, 14), 12.0, 33.0)[0] == pytest.approx(0.286, abs=5e-4)  # degC d


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
    ("coldest_f", "warmest_f", "sine"),
    [(38, 55, 1.19), (36, 67, 5.71), (37, 59, 2.56), (36, 58, 2.13), (41, 50, 0.0), (37, 53, 0.56)],
)
def test_the_hours_of_a_sine_give_the_answers_of_a_university(
    coldest_f: float, warmest_f: float, sine: float
) -> None:
    moment = (np.arange(24 * 60) + 0.5) / (24 * 60)
    curve_f = (coldest_f + warmest_f) / 2 + (warmest_f - coldest_f) / 2 * np.sin(2 * np.pi * moment)
    hourly_f = curve_f.reshape(24, 60).mean(axis=1)
    # source: [UC-DEGREE-DAYS], of the curve itself; an hour's mean hides what turns within it
    assert by_hours(hourly_f, 50.0, 70.0) == pytest.approx(sine, abs=0.04)  # degF d


def test_a_day_that_does_not_vary_has_the_same_by_its_mean_and_by_its_hours() -> None:
    daily_c = np.array([5.0, 13.0, 25.0, np.nan])
    hourly_c = np.repeat(daily_c[:, np.newaxis], 24, axis=1)
    expected = by_hours(hourly_c, 10.0, 20.0)
    assert by_day_means(daily_c, 10.0, 20.0) == pytest.approx(expected, nan_ok=True)


@pytest.mark.parametrize("way", [by_sine, by_triangle])
def test_a_missing_extreme_leaves_its_day_without_a_value(way: Callable) -> None:
    assert isnan(way(*day(np.nan, 30.0), 10.0, 20.0)[0])


@pytest.mark.parametrize("way", [by_sine, by_triangle])
def test_a_day_of_one_temperature_is_that_temperature_all_day(way: Callable) -> None:
    assert way(*day(13.0, 13.0), 10.0, 20.0)[0] == pytest.approx(3.0)  # degC d


@given(st.tuples(temperatures, temperatures), st.tuples(temperatures, temperatures))
def test_the_sine_is_the_sum_over_many_moments(
    extremes_c: tuple[float, float], thresholds_c: tuple[float, float]
) -> None:
    (coldest, warmest), (lower, upper) = sorted(extremes_c), sorted(thresholds_c)
    sine = (coldest + warmest) / 2 + (warmest - coldest) / 2 * np.sin(2 * np.pi * MOMENTS)
    summed = np.mean(np.clip(sine, lower, upper) - lower)
    assert by_sine(*day(coldest, warmest), lower, upper)[0] == pytest.approx(summed, abs=1e-3)


@given(st.tuples(temperatures, temperatures), st.tuples(temperatures, temperatures))
def test_the_triangle_is_the_sum_over_many_moments(
    extremes_c: tuple[float, float], thresholds_c: tuple[float, float]
) -> None:
    (coldest, warmest), (lower, upper) = sorted(extremes_c), sorted(thresholds_c)
    line = coldest + (warmest - coldest) * MOMENTS
    summed = np.mean(np.clip(line, lower, upper) - lower)
    assert by_triangle(*day(coldest, warmest), lower, upper)[0] == pytest.approx(summed, abs=1e-3)


@given(st.lists(temperatures, min_size=24, max_size=24), st.tuples(temperatures, temperatures))
def test_the_hours_are_the_sum_hour_by_hour(
    hourly_c: list[float], thresholds_c: tuple[float, float]
) -> None:
    lower, upper = sorted(thresholds_c)
    summed = sum(max(0.0, min(value, upper) - lower) for value in hourly_c) / 24
    assert by_hours(np.array(hourly_c), lower, upper) == pytest.approx(summed, abs=1e-9)
