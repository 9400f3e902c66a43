"""Windows across as-of dates, hemispheres, leap years and missing data, worked out by hand."""

from __future__ import annotations

import numpy as np

from alerts.rules import GRAPE_PHYLLOXERA
from alerts.windows import find_spans
from tests.windows_by_hand import (
    WARM_SUMMER,
    Case,
    Evaluate,
    both_readings,
    by_hand,
    on,
    span,
)

AS_OF = [
    Case(
        "as of the middle of a window it is open, later days ignored",
        WARM_SUMMER | {"2015-10-01": 50},
        "2015-12-31",
        [span("spring", "2015-04-05")],
        as_of="2015-04-20",
    ),
    Case(
        "as of the day before the opening there is none",
        WARM_SUMMER,
        "2015-12-31",
        [],
        as_of="2015-04-04",
    ),
    Case(
        "as of the day itself it has opened",
        WARM_SUMMER,
        "2015-12-31",
        [span("spring", "2015-04-05")],
        as_of="2015-04-05",
    ),
    Case(
        "an unfinished day after as-of closes nothing",
        {"2015-01-01": 50, "2015-04-01": 66, "2015-04-30": 0},
        "2015-04-30",
        [span("spring", "2015-04-05")],  # by hand: R on 30 April would be 52.8
        as_of="2015-04-29",
    ),
    Case(
        "as of a day before the first there is nothing", WARM_SUMMER, "2015-12-31", [], "2014-12-31"
    ),
]

SOUTH = [
    Case(
        "a southern season runs across New Year under the name of its first year",
        {
            "2015-07-01": 50,
            "2015-10-01": 66,
            "2015-12-01": 75,
            "2016-02-01": 71,
            "2016-04-01": 50,
        },
        "2016-06-30",
        # by hand: 5 October + 42 days = 16 November; R 71 from 5 February on, fall may start
        # on the 15th; R on 1-3 April 66.8, 62.6, 58.4
        [
            span("spring", "2015-10-05", "2015-11-16", "spent"),
            span("fall", "2016-02-15", "2016-04-03", "cold"),
        ],
        south=True,
    ),
    Case(
        "a southern spring is spent across New Year",
        {"2015-07-01": 50, "2015-12-16": 66},
        "2016-02-14",
        # by hand: R 66 on 20 December; + 42 days = 31 January
        [span("spring", "2015-12-20", "2016-01-31", "spent")],
        south=True,
    ),
    Case(
        "a southern season is over on 1 July",
        {
            "2015-07-01": 50,
            "2015-10-01": 66,
            "2015-12-01": 75,
            "2016-03-01": 70,
            "2016-04-01": 62,
        },
        "2016-07-31",
        # by hand: R on 1-4 March 74, 73, 72, 71
        [
            span("spring", "2015-10-05", "2015-11-16", "spent"),
            span("fall", "2016-03-04", "2016-07-01", "season over"),
        ],
        south=True,
    ),
    Case(
        "a southern spring may open from 1 August",
        {"2015-06-01": 66},
        "2015-08-31",
        # by hand: before 1 July it is season 2014, first seen in June: no spring
        [span("spring", "2015-08-01")],
        south=True,
    ),
    Case(
        "a southern start unseen opens up to 31 December",
        {"2015-12-28": 66},
        "2016-01-20",
        [span("spring", "2015-12-31", not_before="2015-08-01")],
        south=True,
    ),
    Case(
        "a southern start unseen does not open on 1 January",
        {"2015-12-29": 66},
        "2016-02-28",
        [],
        south=True,
    ),
    Case(
        "a gap over 15 February may have hidden a southern fall",
        {
            "2015-07-01": 50,
            "2015-10-01": 66,
            "2015-12-01": 75,
            "2016-02-01": 70,
            "2016-02-12": None,
            "2016-02-21": 70,
        },
        "2016-02-28",
        [
            span("spring", "2015-10-05", "2015-11-16", "spent"),
            span("fall", "2016-02-24", not_before="2016-02-15"),
        ],
        south=True,
    ),
]

LEAP_YEAR = [
    Case(
        "42 days over a leap day end on 14 March",
        {"2015-11-01": 66},
        "2016-03-31",
        # by hand: 1 February + 29 days = 1 March, + 13 = 14 March
        [span("spring", "2016-02-01", "2016-03-14", "spent", season=2016)],
    ),
    Case(
        "a leap day closes as any other day",
        {
            "2015-07-01": 50,
            "2015-10-01": 66,
            "2015-12-01": 75,
            "2016-02-01": 71,
            "2016-02-27": 50,
        },
        "2016-03-10",
        # by hand: R on 27-29 February 66.8, 62.6, 58.4
        [
            span("spring", "2015-10-05", "2015-11-16", "spent"),
            span("fall", "2016-02-15", "2016-02-29", "cold"),
        ],
        south=True,
    ),
]

NO_DATA = [
    Case("days without any value open nothing", {"2015-01-01": None}, "2016-12-31", []),
    Case(
        "days before the first value open nothing",
        {"2014-01-01": None, "2015-04-01": 66},
        "2015-04-10",
        [span("spring", "2015-04-04", not_before="2015-02-01")],
    ),
]


@both_readings
@by_hand(*AS_OF, *SOUTH, *LEAP_YEAR, *NO_DATA)
def test_the_spans_are_those_worked_out_by_hand(case: Case, evaluate: Evaluate) -> None:
    assert case.found_by(evaluate) == case.spans


@both_readings
def test_no_days_at_all_give_no_spans(evaluate: Evaluate) -> None:
    assert evaluate([], on("2015-01-01"), False, GRAPE_PHYLLOXERA, on("2015-12-31")) == []


def test_no_series_at_all_give_an_empty_list() -> None:
    days = np.arange("2015-01-01", "2016-01-01", dtype="datetime64[D]")
    nothing = np.empty((0, days.size))
    assert find_spans(nothing, days, np.empty(0, bool), GRAPE_PHYLLOXERA, on("2015-12-31")) == []
