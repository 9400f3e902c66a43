"""What has waited for a reader: told as long as it is news."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from alerts.bounds import DateRange
from alerts.expectations import Expectation
from alerts.late import leave_out_past, renew_likely
from alerts.notices import Notice, Summary
from alerts.outlook.dates import Chances, Outlook
from alerts.rules import GRAPE_PHYLLOXERA
from tests.notices import NOT_KNOWN_OPEN, NOT_OPENED, make_closed, make_notice

AS_OF = date(2025, 10, 30)
AGAIN = make_notice(what="opened again", opened_on=date(2025, 10, 27))
CLOSED = make_closed("cold")
LIKELY = DateRange(date(2025, 10, 1), date(2025, 10, 8))
SUMMARY = Summary((("spring", date(2025, 10, 4), date(2025, 10, 20)),), 19.0, date(2025, 10, 9))
SUMMED_UP = make_notice(what="season summary", opened_on=None, summary=SUMMARY)


def on(day: int) -> date:
    """A day of October."""
    return date(2025, 10, day)


def soon(**changes: Any) -> Notice:
    facts: dict[str, Any] = {"what": "opening soon", "opened_on": None, "opened_range": LIKELY}
    return make_notice(**{**facts, **changes})


MOVED = make_notice(what="corrected", opened_on=date(2025, 10, 6))
NOT_AFTER_ALL = make_notice(**NOT_OPENED)
LOST_SIGHT = make_notice(**NOT_KNOWN_OPEN)


# by hand: what the last word on a window leaves to be told
@pytest.mark.parametrize(
    ("waiting", "expected"),
    [
        pytest.param([make_notice()], [0], id="it is open still"),
        pytest.param([make_notice(), CLOSED], [], id="it opened and closed"),
        pytest.param([make_notice(), CLOSED, AGAIN], [0, 1, 2], id="it is open again"),
        pytest.param([make_notice(), MOVED], [0, 1], id="it opened later than was said"),
        pytest.param([make_notice(), NOT_AFTER_ALL], [], id="it did not open after all"),
        pytest.param([make_notice(), LOST_SIGHT], [0, 1], id="it may be open"),
        pytest.param([make_notice(), CLOSED, SUMMED_UP], [2], id="the season is over"),
        pytest.param([soon()], [], id="was likely, three weeks ago"),
        pytest.param(
            [soon(opened_range=DateRange(date(2025, 10, 25), date(2025, 11, 3)))],
            *([0],),
            id="is likely",
        ),
        pytest.param([soon(), make_notice(), CLOSED], [], id="was likely, came and went"),
    ],
)
def test_what_came_and_went_unheard_of_is_not_told(
    waiting: list[Notice], expected: list[int]
) -> None:
    assert list(leave_out_past(dict(enumerate(waiting)), (), AS_OF)) == expected


def test_a_close_is_told_to_who_heard_of_the_opening() -> None:
    assert list(leave_out_past({7: CLOSED}, {7}, AS_OF)) == [7]


def test_each_window_is_news_by_itself() -> None:
    other = make_notice("Ledge")
    waiting = {1: make_notice(), 2: other, 3: CLOSED}
    assert list(leave_out_past(waiting, (), AS_OF)) == [2]


@pytest.mark.parametrize(
    ("days", "by_now", "told"),
    [
        pytest.param((27, 30, 31), 0.1, DateRange(on(27), on(31)), id="moved"),
        pytest.param((27, 30, None), 0.1, DateRange(on(27), None), id="perhaps never"),
        pytest.param((27, None, None), 0.1, None, id="more likely not at all"),
        pytest.param((20, 23, 26), 0.9, LIKELY, id="probably open: a nowcast says so"),
    ],
)
def test_a_window_that_opens_soon_is_told_by_the_outlook_of_the_day(
    days: tuple[int | None, ...], by_now: float, told: DateRange | None
) -> None:
    opens = Chances(1.0, by_now, 0.4, 0.9, *(on(day) if day else None for day in days))
    outlook = Outlook(2025, AS_OF, AS_OF, "spring", opens, opens, None)
    expected = {soon().block_id: Expectation(outlook, GRAPE_PHYLLOXERA)}
    renewed = renew_likely({3: soon(), 4: make_notice()}, expected)
    assert renewed.pop(4) == make_notice()
    assert [one.opened_range for one in renewed.values()] == ([told] if told else [])
