"""Fall windows and the ends of seasons, worked out by hand."""

from __future__ import annotations

from tests.windows_by_hand import (
    SPRING_SPENT,
    WARM_SUMMER,
    Case,
    Evaluate,
    both_readings,
    by_hand,
    span,
)

FALL = [
    Case(
        "fall opens on the first day allowed, the drop met exactly",
        WARM_SUMMER | {"2015-08-01": 71.4, "2015-10-01": 50},
        "2015-12-31",
        # by hand: R 71.4 from 5 August on; R on 1-3 October 67.12, 62.84, 58.56
        [SPRING_SPENT, span("fall", "2015-08-15", "2015-10-03", "cold")],
    ),
    Case(
        "a drop short by a hundred-thousandth of a degree opens nothing",
        WARM_SUMMER | {"2015-08-01": 71.4 + 1e-5},
        "2015-09-30",
        [SPRING_SPENT],
    ),
    Case(
        "a drop that is gone by 15 August counts for nothing",
        WARM_SUMMER | {"2015-07-01": 70, "2015-08-01": 74},
        "2015-09-30",
        [SPRING_SPENT],
    ),
    Case(
        "once fall has started it opens though the soil warms again",
        WARM_SUMMER | {"2015-08-10": 71, "2015-08-16": 74},
        "2015-08-31",
        [SPRING_SPENT, span("fall", "2015-08-15")],
    ),
    Case(
        "a gap over the first day allowed may have hidden the opening",
        WARM_SUMMER | {"2015-08-01": 70, "2015-08-12": None, "2015-08-21": 70},
        "2015-08-31",
        # by hand: 4 of 5 on 24 August; the last R was on the 11th, fall may not open then
        [SPRING_SPENT, span("fall", "2015-08-24", not_before="2015-08-15")],
    ),
    Case(
        "a fall that starts below 60 opens at 61.0, not at 60.5",
        WARM_SUMMER
        | {"2015-08-10": None, "2015-10-01": 59, "2015-10-10": 60.5, "2015-10-20": 61.0},
        "2015-10-31",
        # by hand: R 59 on 4 October (4 of 5); 60.5 on the 14th; 60.6 .. 61.0 on 20-24 October
        [SPRING_SPENT, span("fall", "2015-10-24")],
    ),
    Case(
        "a fall that starts at exactly 60.0 opens at once",
        WARM_SUMMER | {"2015-08-10": None, "2015-10-01": 60.0},
        "2015-10-31",
        [SPRING_SPENT, span("fall", "2015-10-04", not_before="2015-08-15")],
    ),
    Case(
        "after a cold closing fall reopens at 61.0, not at 60.5",
        WARM_SUMMER | {"2015-09-01": 70, "2015-10-01": 55, "2015-10-10": 60.5, "2015-10-20": 61.0},
        "2015-10-31",
        # by hand: R on 1-4 September 74, 73, 72, 71; on 1-4 October 67, 64, 61, 58
        [
            SPRING_SPENT,
            span("fall", "2015-09-04", "2015-10-04", "cold"),
            span("fall", "2015-10-24"),
        ],
    ),
    Case(
        "a fall that starts above 86 opens at 86, and after a hot closing at 85",
        {
            "2015-01-01": 50,
            "2015-04-01": 66,
            "2015-06-01": 95,
            "2015-08-01": 88,
            "2015-08-20": 86.0,
            "2015-09-01": 87,
            "2015-09-10": 85.5,
            "2015-09-20": 85.0,
        },
        "2015-09-30",
        # by hand: fall starts on 15 August at R 88 <= 91.4; R 86.0 on 24 August; 86.2 on
        # 1 September; 85.5 on the 14th; 85.4 .. 85.0 on 20-24 September
        [
            SPRING_SPENT,
            span("fall", "2015-08-24", "2015-09-01", "hot"),
            span("fall", "2015-09-24"),
        ],
    ),
    Case(
        "fall needs a highest mean of 64",
        {"2015-01-01": 50, "2015-04-01": 63.9, "2015-09-01": 60.1},
        "2015-10-31",
        [],  # by hand: 60.1 is more than 3.6 below 63.9 and above 60
    ),
    Case(
        "a spring closed cold leaves fall's first opening no margin",
        {
            "2015-01-01": 50,
            "2015-04-01": 66,
            "2015-04-15": 56,
            "2015-06-01": 75,
            "2015-08-10": None,
            "2015-09-01": 60.5,
        },
        "2015-09-30",
        # by hand: R on 15-18 April 64, 62, 60, 58; spent on 17 May; 4 of 5 on 4 September
        [
            span("spring", "2015-04-05", "2015-04-18", "cold"),
            span("fall", "2015-09-04", not_before="2015-08-15"),
        ],
    ),
    Case(
        "a spring closed hot leaves fall's first opening no margin",
        {"2015-01-01": 50, "2015-04-01": 66, "2015-04-20": 91, "2015-08-01": 85.5},
        "2015-08-31",
        # by hand: R on 20-24 April 71, 76, 81, 86, 91; R 85.5 from 5 August on
        [
            span("spring", "2015-04-05", "2015-04-24", "hot"),
            span("fall", "2015-08-15"),
        ],
    ),
    Case(
        "an open spring closes turned and fall opens on the same day",
        {"2015-01-01": 50, "2015-07-10": 64.5, "2015-08-10": 60.5},
        "2015-08-31",
        # by hand: R 64.5 on 14 July; 60.5 from 14 August on, at most 64.5 - 3.6 = 60.9
        [
            span("spring", "2015-07-14", "2015-08-15", "turned"),
            span("fall", "2015-08-15"),
        ],
    ),
    Case(
        "turned and cold on one day closes turned, and fall waits for 61",
        {
            "2015-01-01": 50,
            "2015-07-10": 64.5,
            "2015-08-14": 50,
            "2015-09-01": 60.5,
            "2015-09-11": 61.5,
        },
        "2015-09-30",
        # by hand: R on 14-15 August 61.6, 58.7; R 60.5 on 5 September; on 11-13 September
        # 60.7, 60.9, 61.1
        [
            span("spring", "2015-07-14", "2015-08-15", "turned"),
            span("fall", "2015-09-13"),
        ],
    ),
    Case(
        "on the 42nd day spent comes before turned",
        {"2015-01-01": 50, "2015-07-10": 64.5, "2015-08-22": 59.5},
        "2015-08-31",
        # by hand: 14 July + 42 days = 25 August; R on 22-25 August 63.5, 62.5, 61.5, 60.5
        [
            span("spring", "2015-07-14", "2015-08-25", "spent"),
            span("fall", "2015-08-25", "2015-08-26", "cold"),
        ],
    ),
]

SEASON_ENDS = [
    Case(
        "what is open on 31 December is still open",
        WARM_SUMMER | {"2015-09-01": 70, "2015-10-01": 62},
        "2015-12-31",
        [SPRING_SPENT, span("fall", "2015-09-04")],
    ),
    Case(
        "what is open when the season ends closes on the first day of the next",
        WARM_SUMMER | {"2015-09-01": 70, "2015-10-01": 62},
        "2016-03-31",
        [SPRING_SPENT, span("fall", "2015-09-04", "2016-01-01", "season over")],
    ),
    Case(
        "season over needs no reading on the day",
        WARM_SUMMER | {"2015-09-01": 70, "2015-10-01": 62},
        "2015-12-20",
        [
            SPRING_SPENT,
            span(
                "fall",
                "2015-09-04",
                "2016-01-01",
                "season over",
                closed_not_before="2015-12-21",
            ),
        ],
        as_of="2016-01-01",
    ),
    Case(
        "a spring that opens late is over with its season, not spent",
        {"2015-01-01": 50, "2015-12-10": 66},
        "2016-02-28",
        # by hand: R 66 on 14 December; 42 days end in January. The warm winter that follows
        # opens the next season on 1 February, its start unseen at 66 <= 72
        [
            span("spring", "2015-12-14", "2016-01-01", "season over"),
            span("spring", "2016-02-01", season=2016),
        ],
    ),
    Case(
        "each season is judged on its own highest mean",
        WARM_SUMMER | {"2015-09-01": 70, "2015-10-01": 50, "2016-04-01": 66, "2016-08-20": 63},
        "2016-09-30",
        # by hand: R on 1-3 October 66, 62, 58. In 2016 the highest R is 66, so fall starts at
        # R <= 62.4: never at 63
        [
            SPRING_SPENT,
            span("fall", "2015-09-04", "2015-10-03", "cold"),
            span("spring", "2016-04-05", "2016-05-17", "spent", season=2016),
        ],
    ),
]


@both_readings
@by_hand(*FALL, *SEASON_ENDS)
def test_fall_opens_and_closes_on_the_days_worked_out_by_hand(
    case: Case, evaluate: Evaluate
) -> None:
    assert case.found_by(evaluate) == case.spans
