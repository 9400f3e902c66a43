"""What is to come, in words: likely days, nowcasts that say so, warmest weeks, in two languages."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from alerts.expectations import Expectation, tell_expected
from alerts.outlook.dates import Chances, Outlook, WarmWeeks
from alerts.rules import GRAPE_PHYLLOXERA

AS_OF = date(2026, 4, 20)
OPENS = Chances(1.0, 0.0, 0.1, 0.5, date(2026, 4, 28), date(2026, 5, 2), date(2026, 5, 6))
CLOSES = Chances(1.0, 0.0, 0.0, 0.0, date(2026, 6, 9), date(2026, 6, 13), date(2026, 6, 17))
NEVER = Chances(0.04, 0.0, 0.0, 0.0, None, None, None)
COMING = Outlook(2026, AS_OF, AS_OF, "spring", OPENS, CLOSES, None)
WEEKS = WarmWeeks(date(2026, 7, 10), date(2026, 8, 28), date(2026, 8, 3), 16.9)
COOL = replace(COMING, opens=NEVER, closes=NEVER, warm_weeks=WEEKS)
LATE = replace(
    COMING,
    issued_on=date(2026, 5, 20),
    last_day=date(2026, 4, 18),
    opens=replace(OPENS, by_now=0.95, p50=date(2026, 5, 3)),
)


def told(outlook: Outlook, language: str = "en", neighbour: str | None = None) -> str:
    expected = Expectation(outlook, GRAPE_PHYLLOXERA, neighbour)
    return " ".join(tell_expected(expected, language, "F"))


@pytest.mark.parametrize(
    ("outlook", "text"),
    [
        pytest.param(
            COMING, "Spring dig season is likely to open between 28 April and 6 May.", id="days"
        ),
        pytest.param(
            replace(COMING, opens=replace(OPENS, p10=date(2026, 5, 2), p90=date(2026, 5, 2))),
            "Spring dig season is likely to open on 2 May.",
            id="a day",
        ),
        pytest.param(
            replace(COMING, opens=replace(OPENS, chance=0.8, p90=None)),
            "Spring dig season is likely to open from 28 April on; it may not open at all.",
            id="or never",
        ),
        pytest.param(
            replace(COMING, opens=replace(OPENS, chance=0.4, p50=None, p90=None)),
            "Spring dig season may open from 28 April on, but more likely not at all.",
            id="rather not",
        ),
        pytest.param(
            replace(COMING, kind="fall", opens=NEVER, closes=NEVER),
            "Fall dig season is not likely to open before the season ends: the chance is about 1 "
            "in 10 or less.",
            id="never",
        ),
        pytest.param(
            replace(COMING, opens=None),
            "Spring dig season is likely to close between 9 and 17 June.",
            id="open",
        ),
        pytest.param(
            LATE,
            "Nowcast: spring dig season has probably been open since about 3 May; last readings "
            "18 April. Spring dig season is likely to close between 9 and 17 June.",
            id="nowcast, open",
        ),
        pytest.param(
            replace(LATE, opens=None, closes=replace(CLOSES, by_now=0.9)),
            "Nowcast: spring dig season has probably been closed since about 13 June; last "
            "readings 18 April.",
            id="nowcast, closed",
        ),
        pytest.param(
            COOL,
            "The chance that the root zone reaches 64 °F in spring or summer is under 1 in 10. "
            "Its warmest weeks, at 60 °F or more, are likely from 10 July to 28 August, the peak "
            "about 3 August.",
            id="cool",
        ),
        pytest.param(
            replace(COOL, warm_weeks=WarmWeeks(None, None, date(2026, 8, 3), 14.0)),
            "The chance that the root zone reaches 64 °F in spring or summer is under 1 in 10. "
            "It is likely to be warmest about 3 August, at 57.2 °F.",
            id="cold",
        ),
    ],
)
def test_what_is_to_come_is_told_by_its_likely_days(outlook: Outlook, text: str) -> None:
    assert told(outlook) == text


def test_a_curve_that_is_borrowed_is_named() -> None:
    assert told(COMING, neighbour="Hedge Side").endswith(
        "This rests on the yearly course of Hedge Side, shifted by what differs."
    )


def test_it_is_told_in_spanish() -> None:
    assert told(LATE, "es").startswith(
        "Estimación a hoy: la temporada de primavera está probablemente abierta desde alrededor "
        "del 3 de mayo; últimas lecturas: 18 de abril."
    )


@pytest.mark.parametrize(
    ("outlook", "is_settled"),
    [
        (COMING, False),
        (replace(COMING, opens=None), False),
        (replace(COMING, opens=None, closes=replace(CLOSES, p90=CLOSES.p10)), True),
    ],
)
def test_an_open_window_that_no_weather_moves_is_settled(
    outlook: Outlook, is_settled: bool
) -> None:
    assert Expectation(outlook, GRAPE_PHYLLOXERA).is_settled is is_settled
