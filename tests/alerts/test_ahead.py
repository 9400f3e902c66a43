"""What is near is told once, and a season is summed up once when it is over."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from alerts.ahead import Standing, find_ahead
from alerts.bounds import DateRange
from alerts.changes import Told
from alerts.outlook.dates import Chances, Outlook
from alerts.rules import GRAPE_PHYLLOXERA
from alerts.windows import Span

AS_OF = date(2025, 4, 20)
DAYS = np.arange("2025-01-01", "2025-12-31", dtype="datetime64[D]")
CHANCES = Chances(1.0, 0.0, 0.5, 0.9, date(2025, 4, 24), date(2025, 4, 27), date(2025, 5, 3))


def chances(p50: date | None, **changes: Any) -> Chances:
    return replace(CHANCES, p50=p50, **changes)


def outlook(opens: Chances | None, closes: Chances = CHANCES, kind: Any = "spring") -> Outlook:
    return Outlook(2025, AS_OF, AS_OF, kind, opens, closes, None)


def told(what: Any, kind: Any = "spring", opened_on: date | None = date(2025, 4, 1)) -> Told:
    return Told(2025, kind, what, opened_on, None, None)


def standing(**changes: Any) -> Standing:
    """Return a block that warms, of which nothing was told."""
    mild_c = np.full(DAYS.size, 15.0)
    rule = GRAPE_PHYLLOXERA
    one = Standing((), 2025, "warming", None, (), rule, False, mild_c, DAYS, AS_OF)
    return replace(one, **changes)


def found(one: Standing, soon_days: int = 7) -> list[str]:
    return [change.what for change in find_ahead(one, soon_days)]


SOON = outlook(CHANCES)


@pytest.mark.parametrize(
    ("one", "whats"),
    [
        # by hand: 27 April is seven days ahead
        pytest.param(standing(outlook=SOON), ["opening soon"], id="within a week"),
        pytest.param(standing(outlook=outlook(chances(date(2025, 4, 28)))), [], id="in eight days"),
        pytest.param(standing(outlook=outlook(chances(AS_OF, by_now=0.6))), [], id="probably open"),
        pytest.param(standing(outlook=outlook(chances(None))), [], id="more likely not at all"),
        pytest.param(standing(), [], id="no outlook"),
        pytest.param(
            standing(outlook=SOON, state="no recent readings"), [], id="without recent readings"
        ),
        pytest.param(
            standing(outlook=SOON, told=[told("opening soon", opened_on=None)]), [], id="told"
        ),
        pytest.param(standing(outlook=SOON, told=[told("opened")]), [], id="an opening was told"),
        pytest.param(
            standing(outlook=SOON, told=[told("closed", "fall")]), ["opening soon"], id="of fall"
        ),
    ],
)
def test_an_opening_that_is_likely_within_a_week_is_told_once(one: Standing, whats) -> None:
    assert found(one) == whats


def test_it_says_between_which_days() -> None:
    (change,) = find_ahead(standing(outlook=SOON), 7)
    assert change.likely == DateRange(date(2025, 4, 24), date(2025, 5, 3))


def test_how_long_ahead_is_a_choice() -> None:
    in_ten_days = standing(outlook=outlook(chances(date(2025, 4, 30))))
    assert (found(in_ten_days, 10), found(in_ten_days, 9)) == (["opening soon"], [])
    assert found(standing(outlook=SOON), 0) == []


def spring(opened_on: date, closed_on: date | None = None, reason: Any = None) -> Span:
    return Span(2025, "spring", opened_on, opened_on, closed_on, reason, closed_on)


APR_1, MAY_6 = date(2025, 4, 1), date(2025, 5, 6)
OPEN = standing(spans=[spring(APR_1)], state="open", told=[told("opened")])
AGAIN = [spring(APR_1, date(2025, 4, 10), "cold"), spring(date(2025, 4, 20))]
TOLD = [*OPEN.told, told("closing soon")]


@pytest.mark.parametrize(
    ("one", "whats"),
    [
        # by hand: 42 days after 1 April is 13 May, seven days before it 6 May
        pytest.param(replace(OPEN, as_of=date(2025, 5, 5)), [], id="in eight days"),
        pytest.param(replace(OPEN, as_of=MAY_6), ["closing soon"], id="in seven"),
        pytest.param(
            replace(OPEN, as_of=MAY_6, spans=AGAIN), ["closing soon"], id="since the first opening"
        ),
        pytest.param(replace(OPEN, as_of=date(2025, 5, 7), told=TOLD), [], id="told before"),
        pytest.param(replace(OPEN, as_of=MAY_6, told=[]), [], id="no opening was told"),
        pytest.param(
            replace(OPEN, as_of=MAY_6, spans=[spring(APR_1, date(2025, 5, 1), "hot")]),
            [],
            id="closed",
        ),
        pytest.param(replace(OPEN, outlook=outlook(None)), ["closing soon"], id="by the outlook"),
        pytest.param(
            replace(OPEN, outlook=outlook(None, chances(date(2025, 4, 28)))), [], id="later by it"
        ),
    ],
)
def test_a_close_within_a_week_is_told_once(one: Standing, whats) -> None:
    assert found(one) == whats


SEP_20, NOV_1 = date(2025, 9, 20), date(2025, 11, 1)
SPANS = [
    spring(APR_1, date(2025, 5, 13), "spent"),
    Span(2025, "fall", SEP_20, SEP_20, NOV_1, "cold", NOV_1),
]
OVER = standing(
    spans=SPANS,
    state="done for the season",
    told=[told("opened"), told("closed", "fall")],
    root_zone_c=np.where(np.datetime64("2025-07-20") == DAYS, 30.0, 20.0),
    as_of=date(2025, 11, 15),
)
NEXT_YEAR = replace(OVER, season=2026, state="too cold", as_of=date(2026, 1, 1))
MAY_OPEN = outlook(chances(None, chance=0.2), kind="fall")
NEXT_OPENS = replace(outlook(chances(date(2026, 4, 20))), season=2026)


@pytest.mark.parametrize(
    ("one", "whats"),
    [
        pytest.param(OVER, ["season summary"], id="two weeks after its last close"),
        pytest.param(replace(OVER, as_of=date(2025, 11, 14)), [], id="a day before"),
        pytest.param(replace(OVER, told=[*OVER.told, told("season summary")]), [], id="told"),
        pytest.param(replace(OVER, told=[]), [], id="nothing of it was told"),
        pytest.param(replace(OVER, outlook=MAY_OPEN), [], id="it may open again"),
        pytest.param(replace(OVER, outlook=NEXT_OPENS), ["season summary"], id="next spring is"),
        pytest.param(replace(OVER, state="resting", spans=SPANS[:1]), [], id="fall is to come"),
        pytest.param(NEXT_YEAR, ["season summary"], id="in the next season"),
        pytest.param(replace(NEXT_YEAR, as_of=NOV_1 + timedelta(days=121)), [], id="long ago"),
    ],
)
def test_a_season_is_summed_up_once_when_no_window_is_to_come(one: Standing, whats) -> None:
    assert found(one) == whats


def test_a_summary_has_the_spans_and_the_highest_mean() -> None:
    (change,) = find_ahead(OVER, 7)
    assert change.summary
    assert [span[0] for span in change.summary.spans] == ["spring", "fall"]
    # by hand: (4 * 20 + 30) / 5 is 22, first on 20 July
    assert change.summary.highest_c == pytest.approx(22.0)
    assert change.summary.highest_on == date(2025, 7, 20)
