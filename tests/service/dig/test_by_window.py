"""Where a day lies to windows, by hand."""

from __future__ import annotations

from datetime import date

import pytest

from alerts.dig.by_window import Side
from alerts.windows import Span
from service.dig.by_window import find_side

SPAN = Span(
    season=2025,
    kind="spring",
    opened_on=date(2025, 5, 10),
    not_before=date(2025, 5, 8),
    closed_on=date(2025, 6, 20),
    reason="spent",
    closed_not_before=date(2025, 6, 18),
)


@pytest.mark.parametrize(
    ("day", "has_mean", "side", "days_open"),
    [
        (date(2025, 5, 7), True, Side.OUTSIDE, None),
        (date(2025, 5, 8), True, Side.NOT_KNOWN, None),
        (date(2025, 5, 10), True, Side.INSIDE, 0),
        (date(2025, 6, 17), True, Side.INSIDE, 38),
        (date(2025, 6, 18), True, Side.NOT_KNOWN, None),
        (date(2025, 6, 20), True, Side.OUTSIDE, None),
        (date(2025, 6, 20), False, Side.NOT_KNOWN, None),
    ],
    ids=["before", "may be open", "opens", "sure", "may be closed", "closed", "no readings"],
)
def test_a_day_lies_inside_where_the_window_was_surely_open(
    day: date, has_mean: bool, side: Side, days_open: int | None
) -> None:
    assert find_side(day, [SPAN], has_mean) == (side, days_open)
