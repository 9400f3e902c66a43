"""Climatology: a probe's own earlier years."""

from __future__ import annotations

import numpy as np
import pytest
from ioos_qc.qartod import climatology_test

from probes.checks import ProbeSeries
from probes.checks.climatology import Climatology, explain_climatology, flag_climatology

DAY = np.timedelta64(1, "D")


def years(first: str, last: str, mean_c: float = 15.0) -> ProbeSeries:
    """Return two readings a day, `mean_c` and 4 degC more, on all days from first to last."""
    day = np.arange(np.datetime64(first, "D"), np.datetime64(last, "D") + DAY)
    at = (day[:, None] + np.array([6, 18], "timedelta64[h]")).ravel().astype("datetime64[us]")
    return ProbeSeries(at, np.tile([mean_c, mean_c + 4.0], day.size), 30.0)


def judged(history: ProbeSeries, at: str, value_c: float) -> int:
    """Return the result of one reading held against a history."""
    reading = ProbeSeries(np.array([at], "datetime64[us]"), np.array([value_c]), 30.0)
    return int(flag_climatology(reading, history, Climatology())[0])


TWO_YEARS = years("2022-05-01", "2024-06-30")


@pytest.mark.parametrize(
    ("value_c", "result"),
    # by hand: 15 to 19 degC in earlier years, 5 degC beyond them; never a fail
    [(9.9, 3), (10.0, 1), (24.0, 1), (24.1, 3), (59.0, 3)],
)
def test_a_reading_is_held_against_the_span_of_earlier_years(value_c: float, result: int) -> None:
    assert judged(TWO_YEARS, "2024-06-20T12:00", value_c) == result


@pytest.mark.parametrize("value_c", [9.9, 10.0, 24.0, 24.1])
def test_within_that_span_the_open_implementation_agrees(value_c: float) -> None:
    config = [{"tspan": ("2024-06-01", "2024-06-30"), "vspan": (10.0, 24.0)}]
    at = np.array(["2024-06-20T12:00"], "datetime64[us]")
    theirs = climatology_test(config, np.array([value_c]), at, np.array([0.3]))
    assert judged(TWO_YEARS, "2024-06-20T12:00", value_c) == theirs[0]


def test_one_earlier_year_is_too_little() -> None:
    assert judged(TWO_YEARS, "2023-06-20T12:00", 40.0) == 2


def test_a_year_counts_from_half_of_the_days_on() -> None:
    # by hand: 20 June, 15 days about it: 5 June to 5 July; from 20 June on 16 of 31 days, from
    # 21 June on 15
    results = [
        judged(years(first, "2024-05-01"), "2024-06-20T12:00", 40.0)
        for first in ("2022-06-20", "2022-06-22")
    ]
    assert results == [3, 2]


def test_the_turn_of_the_year_is_no_border() -> None:
    assert judged(years("2021-12-15", "2024-01-10"), "2024-01-03T12:00", 40.0) == 3


def test_the_season_around_it_does_not_count() -> None:
    before = years("2021-06-01", "2024-04-30")
    shifted = ProbeSeries(before.observed_at, before.soil_temp_c.copy(), 30.0)
    month = shifted.observed_at.astype("datetime64[M]").astype(int) % 12 + 1
    shifted.soil_temp_c[month < 6] += 30.0
    assert judged(shifted, "2024-06-25T12:00", 40.0) == 3


def test_the_reading_itself_and_its_year_do_not_count() -> None:
    warm_now = years("2024-05-01", "2024-06-30", mean_c=40.0)
    history = ProbeSeries(
        np.concatenate([TWO_YEARS.observed_at[:1460], warm_now.observed_at]),
        np.concatenate([TWO_YEARS.soil_temp_c[:1460], warm_now.soil_temp_c]),
        30.0,
    )
    assert judged(history, "2024-06-20T12:00", 40.0) == 3


def test_the_reason_names_the_span() -> None:
    reading = ProbeSeries(np.array(["2024-06-20T12:00"], "datetime64[us]"), np.array([31.2]), 30.0)
    told = explain_climatology(reading, 0, TWO_YEARS, Climatology())
    assert told == (
        "31.2 °C, where earlier years had 15.0 to 19.0 °C within 15 days of this date; "
        "5 °C beyond that is the limit"
    )
