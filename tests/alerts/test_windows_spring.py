"""Spring windows worked out by hand: opening, pauses, spent, start unseen."""

from __future__ import annotations

from tests.windows_by_hand import (
    FIVE_OF_FIVE,
    SPRING_SPENT,
    Case,
    Evaluate,
    both_readings,
    by_hand,
    span,
)

# by hand throughout: 50 °F before a step on 1 April to x gives R on 1-5 April of
# 50 + (x - 50) / 5, 2/5, 3/5, 4/5, 5/5: to 66 it is 53.2, 56.4, 59.6, 62.8, 66.0.
OPENING = [
    Case(
        "exactly 64.0 °F opens",
        {"2015-01-01": 50, "2015-04-01": 64.0},
        "2015-04-30",
        [span("spring", "2015-04-05")],  # by hand: R is 61.2 on the 4th, 64.0 on the 5th
    ),
    Case(
        "a limit missed by half a millionth of a degree is met",
        {"2015-01-01": 50, "2015-04-01": 64.0 - 5e-7},
        "2015-04-30",
        [span("spring", "2015-04-05")],
    ),
    Case(
        "a limit missed by a hundred-thousandth of a degree is missed",
        {"2015-01-01": 50, "2015-04-01": 64.0 - 1e-5},
        "2015-04-30",
        [],
    ),
    Case(
        "four days of readings are enough for a mean",
        {"2015-04-01": 66},
        "2015-04-30",
        # by hand: the fourth day is the first with 4 of 5; nothing was seen before it
        [span("spring", "2015-04-04", not_before="2015-02-01")],
    ),
    Case("one day short of a mean opens nothing", {"2015-04-01": 66}, "2015-04-03", []),
    Case(
        "four days of readings open nothing where five are needed",
        {"2015-04-01": 66},
        "2015-04-04",
        [],
        rule=FIVE_OF_FIVE,
    ),
    Case(
        "the fifth day opens where five are needed",
        {"2015-04-01": 66},
        "2015-04-05",
        [span("spring", "2015-04-05", not_before="2015-02-01")],
        rule=FIVE_OF_FIVE,
    ),
    Case(
        "a one-day gap inside the five days leaves the mean of four",
        {"2015-01-01": 50, "2015-04-01": 66, "2015-04-03": None, "2015-04-04": 66},
        "2015-04-30",
        # by hand: R on the 4th is (50 + 3 * 66) / 4 = 62, on the 5th 66
        [span("spring", "2015-04-05")],
    ),
    Case(
        "a two-day gap inside the five days leaves no mean until four are there again",
        {"2015-01-01": 50, "2015-04-01": 66, "2015-04-04": None, "2015-04-06": 66},
        "2015-04-30",
        # by hand: last R on the 3rd (59.6); the 6th to 8th have 3 of 5, the 9th has 4
        [span("spring", "2015-04-09", not_before="2015-04-04")],
    ),
    Case(
        "a day without a value has no mean though the four before it have one",
        {"2015-01-01": 50, "2015-04-01": 66, "2015-04-05": None, "2015-04-06": 66},
        "2015-04-30",
        # by hand: R on the 4th is 62.8; on the 6th the mean of the 2nd, 3rd, 4th, 6th is 66
        [span("spring", "2015-04-06", not_before="2015-04-05")],
    ),
    Case(
        "a warm January opens on 1 February and not before",
        {"2015-01-01": 50, "2015-01-10": 66},
        "2015-02-10",
        [span("spring", "2015-02-01")],  # by hand: R is 66 from 14 January on
    ),
    Case(
        "a gap over 1 February may have hidden the opening from that day on",
        {"2015-01-01": 50, "2015-01-20": None, "2015-02-10": 66},
        "2015-02-20",
        # by hand: 4 of 5 on 13 February; the gap began in January, spring may not open then
        [span("spring", "2015-02-13", not_before="2015-02-01")],
    ),
    Case(
        "a mean just across the season's start uses the days before it",
        {"2014-12-20": 50, "2015-01-01": 66},
        "2015-02-01",
        # by hand: R on 1 January is 53.2, below 64 within the season, so the start was seen
        [span("spring", "2015-02-01")],
    ),
]

PAUSES = [
    Case(
        "a cold pause closes below 60 and reopens at 64",
        {"2015-01-01": 50, "2015-04-01": 66, "2015-04-15": 56, "2015-05-01": 66},
        "2015-05-31",
        # by hand: R on 15-18 April 64, 62, 60 (not below), 58; on 1-4 May 58, 60, 62, 64
        [
            span("spring", "2015-04-05", "2015-04-18", "cold"),
            span("spring", "2015-05-04", "2015-05-17", "spent"),
        ],
    ),
    Case(
        "exactly 60.0 °F stays open",
        {"2015-01-01": 50, "2015-04-01": 66, "2015-04-15": 60.0},
        "2015-05-10",
        [span("spring", "2015-04-05")],
    ),
    Case(
        "a hot pause closes above 86 and reopens at 85, not at 85.5",
        {
            "2015-01-01": 50,
            "2015-04-01": 66,
            "2015-04-20": 91,
            "2015-05-01": 85.5,
            "2015-05-08": 85.0,
        },
        "2015-05-31",
        # by hand: R on 20-24 April 71, 76, 81, 86 (not above), 91; on 8-12 May 85.4 .. 85.0
        [
            span("spring", "2015-04-05", "2015-04-24", "hot"),
            span("spring", "2015-05-12", "2015-05-17", "spent"),
        ],
    ),
    Case(
        "a first opening knows no margin below 86",
        {"2015-01-01": 50, "2015-04-01": None, "2015-04-20": 86.0},
        "2015-04-30",
        # by hand: 4 of 5 on the 23rd, R 86.0; last R on 31 March
        [span("spring", "2015-04-23", not_before="2015-04-01")],
    ),
    Case(
        "a spring first seen above 86 opens when it comes down to 86",
        {"2015-01-01": 50, "2015-04-01": None, "2015-04-20": 87, "2015-04-25": 86.0},
        "2015-05-10",
        # by hand: R is 87 on 23-24 April, 86.8 .. 86.2 on 25-28, 86.0 on 29 April
        [span("spring", "2015-04-29")],
    ),
    Case(
        "after a hot and then a cold closing the hot margin is gone",
        {
            "2015-01-01": 50,
            "2015-04-01": 66,
            "2015-04-10": 91,
            "2015-04-15": None,
            "2015-04-20": 64,
            "2015-04-25": 54,
            "2015-04-30": None,
            "2015-05-05": 85.5,
        },
        "2015-05-12",
        # by hand: R 71, 76, 81, 86, 91 on 10-14 April; 64 on 23 April (4 of 5);
        # 62, 60, 58 on 25-27 April; 85.5 on 8 May (4 of 5), last R before it on 29 April
        [
            span("spring", "2015-04-05", "2015-04-14", "hot"),
            span("spring", "2015-04-23", "2015-04-27", "cold", not_before="2015-04-15"),
            span("spring", "2015-05-08", not_before="2015-04-30"),
        ],
    ),
]

SPENT = [
    Case(
        "spring is spent on the 42nd day after its first opening",
        {"2015-01-01": 50, "2015-04-01": 66},
        "2015-05-31",
        [span("spring", "2015-04-05", "2015-05-17", "spent")],  # by hand: 5 April + 42 days
    ),
    Case(
        "on the 41st day it is still open",
        {"2015-01-01": 50, "2015-04-01": 66},
        "2015-05-16",
        [span("spring", "2015-04-05")],
    ),
    Case(
        "spent runs through a gap, in which it may have closed before",
        {"2015-01-01": 50, "2015-04-01": 66, "2015-04-20": None, "2015-05-25": 66},
        "2015-05-31",
        [span("spring", "2015-04-05", "2015-05-17", "spent", closed_not_before="2015-04-20")],
    ),
    Case(
        "spent runs on after the last reading",
        {"2015-01-01": 50, "2015-04-01": 66},
        "2015-04-20",
        [span("spring", "2015-04-05", "2015-05-17", "spent", closed_not_before="2015-04-21")],
        as_of="2015-05-17",
    ),
    Case(
        "a gap before the cold day may have hidden an earlier close",
        {"2015-01-01": 50, "2015-04-01": 66, "2015-04-20": None, "2015-04-26": 55},
        "2015-05-10",
        # by hand: the last R before the gap is that of 19 April, the next that of 29 April
        [span("spring", "2015-04-05", "2015-04-29", "cold", closed_not_before="2015-04-20")],
    ),
    Case(
        "a spent spring does not open again after a cold pause",
        {"2015-01-01": 50, "2015-04-01": 66, "2015-04-15": 56, "2015-05-14": 66},
        "2015-06-30",
        # by hand: R on 14-17 May 58, 60, 62, 64: the 64 falls on the 42nd day
        [span("spring", "2015-04-05", "2015-04-18", "cold")],
    ),
    Case(
        "on the 42nd day spent comes before cold",
        {"2015-01-01": 50, "2015-04-01": 66, "2015-05-14": 56},
        "2015-05-31",
        # by hand: R on 14-17 May 64, 62, 60, 58: below 60 on the 42nd day
        [span("spring", "2015-04-05", "2015-05-17", "spent")],
    ),
]

START_UNSEEN = [
    Case(
        "probes put in on 15 July see no spring and judge fall on their own highest mean",
        {"2015-07-15": 75, "2015-09-01": 70},
        "2015-09-30",
        [span("fall", "2015-09-04")],  # by hand: R on 1-4 September 74, 73, 72, 71
    ),
    Case(
        "probes put in on 1 October see no spring",
        {"2015-10-01": 68, "2015-10-15": 64, "2015-11-01": 50},
        "2015-12-31",
        # by hand: fall starts at R <= 64.4: R on 15-19 October 67.2 .. 64.0;
        # on 1-2 November 61.2, 58.4
        [span("fall", "2015-10-19", "2015-11-02", "cold")],
    ),
    Case(
        "66 °F all winter opens on 1 February",
        {"2014-11-01": 66},
        "2015-03-31",
        # by hand: 2014 was first seen in November: no spring, and no drop for a fall;
        # 1 February + 42 days = 15 March
        [span("spring", "2015-02-01", "2015-03-15", "spent")],
    ),
    Case(
        "a start unseen opens at 72.0",
        {"2015-03-01": 72.0},
        "2015-03-31",
        [span("spring", "2015-03-04", not_before="2015-02-01")],
    ),
    Case("a start unseen does not open above 72.0", {"2015-03-01": 72.001}, "2015-08-31", []),
    Case(
        "a start unseen opens once it is back at 72.0 by 30 June",
        {"2015-03-01": 73, "2015-03-20": 72.0},
        "2015-03-31",
        [span("spring", "2015-03-24")],  # by hand: R on 20-24 March 72.8 .. 72.0
    ),
    Case(
        "a start unseen opens up to 30 June",
        {"2015-06-27": 66},
        "2015-07-31",
        [span("spring", "2015-06-30", not_before="2015-02-01")],
    ),
    Case("a start unseen does not open on 1 July", {"2015-06-28": 66}, "2015-08-31", []),
    Case(
        "one mean below 64 is a start seen, whatever day it is",
        {"2015-07-01": 63.9, "2015-07-10": 80},
        "2015-07-31",
        [span("spring", "2015-07-10")],  # by hand: R on 10 July is 67.12
    ),
    Case(
        "after a first opening unseen spring reopens as any other",
        {"2015-06-20": 70, "2015-06-28": 95, "2015-07-05": 80},
        "2015-08-10",
        # by hand: 4 of 5 on 23 June; R on 28 June - 1 July 75, 80, 85, 90; on 5-8 July
        # 92, 89, 86, 83; 23 June + 42 days = 4 August
        [
            span("spring", "2015-06-23", "2015-07-01", "hot", not_before="2015-02-01"),
            span("spring", "2015-07-08", "2015-08-04", "spent"),
        ],
    ),
    Case(
        "a start seen last year is no start seen",
        {"2015-01-01": 50, "2015-04-01": 66, "2015-09-01": None, "2016-05-01": 73},
        "2016-08-10",
        [SPRING_SPENT],
    ),
]


@both_readings
@by_hand(*OPENING, *PAUSES, *SPENT, *START_UNSEEN)
def test_spring_opens_and_closes_on_the_days_worked_out_by_hand(
    case: Case, evaluate: Evaluate
) -> None:
    assert case.found_by(evaluate) == case.spans
