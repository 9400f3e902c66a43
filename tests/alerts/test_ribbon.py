"""The ribbon shows what was open, what may have been, and what nobody knows."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest

from alerts.ribbon import (
    CLOSED,
    NO_READINGS,
    OPEN,
    RESTING,
    SHADES,
    UNSEEN,
    Ribbon,
    draw_ribbon,
    explain_ribbon,
    explain_shades,
)
from alerts.season_days import find_season_days
from alerts.windows import Span
from alerts.words import LANGUAGES

START, END = date(2025, 7, 1), date(2026, 6, 30)
LATE = date(2026, 7, 20)
SPRING = Span(2025, "spring", date(2025, 10, 4), date(2025, 9, 20), date(2025, 11, 15), "spent")
FALL = Span(2025, "fall", date(2026, 4, 1), date(2026, 4, 1), None, None)
MEASURED = np.ones(365, bool)


def cells(spans: list[Span], as_of: date = LATE, measured=MEASURED, **more: Any) -> str:
    return draw_ribbon(find_season_days(spans, START, END, measured, as_of, **more)).cells


def test_a_season_reads_from_left_to_right() -> None:
    # by hand: 365 days in 48 cells of 7.6; spring opens on day 95 (cell 12), maybe from day 81
    # (cell 10), closes on day 137 (cell 18); fall opens on day 274 (cell 36)
    assert cells([SPRING, FALL]) == ("│···│···│·▒▒██████──│───│───│───│───████████████")


def test_after_today_only_the_months_are_ruled() -> None:
    assert cells([], date(2025, 9, 10)) == ("│···│···│·◂ ┊   ┊   ┊   ┊   ┊   ┊   ┊   ┊   ┊   ")


def test_the_days_ahead_fade_in_by_their_chance_of_being_open() -> None:
    # by hand: 10 September is day 72, in cell 9; a cell is 7.6 days, so that the middle of the cell
    # k after today is 7.6 k + 3 days ahead, and week 2 stands in cell 11
    chances = [0, 0, 0.05, 0.1, 0.34, 0.66, 0.7, 1.0, 0.67, 0.2, *[0.0] * 33]
    season = find_season_days([], START, END, MEASURED, date(2025, 9, 10), chances)
    drawn = draw_ribbon(season)
    assert drawn.cells == "│···│···│·◂ ░▒▓▓▓░  ┊   ┊   ┊   ┊   ┊   ┊   ┊   "
    assert drawn.is_shaded


def test_what_is_open_for_sure_stands_before_what_may_be() -> None:
    span = replace(SPRING, closed_on=None, reason=None)
    drawn = cells([span], date(2025, 10, 15), open_chances=[1.0] * 4)
    # by hand: cell 14 holds 15 October; the middle of cell 16 lies 19 days ahead, of cell 17 27
    assert drawn[12:20] == "███◂▓   "


def test_a_ribbon_is_shown_between_its_months_within_a_mail() -> None:
    shown = Ribbon("x" * 48, START, END).show("en")
    assert (shown[:9], shown[-9:]) == ("Jul 2025 ", " Jun 2026")
    assert len(shown) <= 70
    assert Ribbon("", START, END).show("es").split() == ["jul", "2025", "jun", "2026"]


def test_days_without_readings_are_left_bare() -> None:
    measured = MEASURED.copy()
    measured[92:184] = False
    ribbon = cells([], measured=measured)
    assert ribbon == "│···│···│···│   │   │   │···│···│···│···│···│···"


def test_an_open_window_stays_open_through_days_without_readings() -> None:
    ribbon = cells([SPRING], measured=~MEASURED)
    assert ribbon.count(OPEN) == 6


def test_the_days_before_a_close_in_a_gap_may_have_been_open() -> None:
    span = replace(SPRING, not_before=SPRING.opened_on, closed_not_before=date(2025, 10, 27))
    # by hand: opens on day 95 (cell 12), sure up to day 118 (cell 15), unsure up to 137 (cell 18)
    assert cells([span])[10:20] == "··████▒▒──"


def test_one_open_day_is_seen() -> None:
    span = Span(2025, "spring", date(2025, 10, 9), date(2025, 10, 9), date(2025, 10, 10), "cold")
    assert cells([span]).count(OPEN) == 1


def test_rest_ends_when_fall_opens() -> None:
    fall = Span(2025, "fall", FALL.opened_on, FALL.not_before, date(2026, 5, 20), "cold")
    ribbon = cells([SPRING, fall])
    assert ribbon.endswith("───███████·│···")


def test_a_spring_closed_by_heat_does_not_rest() -> None:
    span = Span(2025, "spring", date(2025, 10, 4), date(2025, 10, 4), date(2025, 11, 1), "hot")
    assert RESTING not in cells([span])


@pytest.mark.parametrize("width", [12, 48, 73, 365])
def test_a_ribbon_is_as_wide_as_asked_in_a_leap_year_too(width: int) -> None:
    measured = np.ones(366, bool)
    year = find_season_days([], date(2024, 1, 1), date(2024, 12, 31), measured, date(2024, 6, 1))
    assert len(draw_ribbon(year, width).cells) == width


def test_days_that_do_not_fit_the_season_are_refused() -> None:
    with pytest.raises(ValueError, match="365 days"):
        find_season_days([], START, END, MEASURED[1:], LATE)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_legend_names_every_character_in_one_line(language: str) -> None:
    legend = explain_ribbon(language)
    assert {OPEN, UNSEEN, CLOSED, RESTING, NO_READINGS, "◂"} <= set(legend)
    assert len(legend) <= 80
    assert set(SHADES) <= set(explain_shades(language))
    assert len(explain_shades(language)) <= 80
