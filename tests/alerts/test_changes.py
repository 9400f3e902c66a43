"""What is new about a block, held against what was told."""

from datetime import date

import numpy as np
import pytest

from alerts.changes import Change, Told, find_changes, is_known
from alerts.rules import GRAPE_PHYLLOXERA
from alerts.windows import Span

APR_03, APR_10, APR_15, APR_16, APR_20, APR_25, MAY_30 = (
    date(2025, 4, 3),
    date(2025, 4, 10),
    date(2025, 4, 15),
    date(2025, 4, 16),
    date(2025, 4, 20),
    date(2025, 4, 25),
    date(2025, 5, 30),
)


def spring(opened_on: date, closed_on: date | None = None) -> Span:
    return Span(2025, "spring", opened_on, opened_on, closed_on, "cold" if closed_on else None)


def told(what, opened_on, closed_on=None, told_opened_on=None) -> Told:
    return Told(2025, "spring", what, opened_on, closed_on, told_opened_on)


OPENED = told("opened", APR_03)
CLOSED = told("closed", APR_03, APR_10)


@pytest.mark.parametrize(
    ("spans", "already_told", "expected"),
    [
        pytest.param([], [], [], id="nothing opened and nothing was told"),
        pytest.param([spring(APR_03)], [], [("opened", APR_03, None)], id="an opening"),
        pytest.param([spring(APR_03)], [OPENED], [], id="an opening that was told is not news"),
        pytest.param([spring(APR_03, APR_10)], [], [], id="a window that came and went untold"),
        pytest.param([spring(APR_03, APR_10)], [OPENED], [("closed", APR_03, None)], id="a close"),
        pytest.param(
            [spring(APR_03, APR_10)], [OPENED, CLOSED], [], id="a close that was told is not news"
        ),
        pytest.param(
            [spring(APR_03, APR_10), spring(APR_20)],
            [OPENED, CLOSED],
            [("opened again", APR_20, None)],
            id="an opening after a pause",
        ),
        pytest.param(
            [spring(APR_03, APR_10), spring(APR_20)],
            [OPENED],
            [("closed", APR_03, None), ("opened again", APR_20, None)],
            id="a close and an opening since the last round",
        ),
        pytest.param(
            [spring(APR_10)],
            [OPENED],
            [("corrected", APR_10, (APR_03, None))],
            id="an opening that moved",
        ),
        pytest.param(
            [], [OPENED], [("corrected", None, (APR_03, None))], id="an opening that is gone"
        ),
        pytest.param(
            [spring(APR_10)],
            [OPENED, told("corrected", APR_10, None, APR_03)],
            [],
            id="a correction is told once",
        ),
        pytest.param(
            [spring(APR_03)],
            [OPENED, told("corrected", None, None, APR_03)],
            [("opened", APR_03, None)],
            id="an opening that came back after it was taken back",
        ),
        pytest.param(
            [spring(APR_03, APR_10)],
            [OPENED, CLOSED, told("corrected", None, None, APR_03)],
            [("corrected", APR_03, None)],
            id="a window that came back, closed, after it was taken back",
        ),
        pytest.param(
            [spring(APR_03, APR_10)],
            [OPENED, told("corrected", None, None, APR_03), told("corrected", APR_03, APR_10)],
            [],
            id="a window that came back is told once",
        ),
        pytest.param(
            [spring(APR_03)],
            [OPENED, CLOSED],
            [("corrected", APR_03, (APR_03, APR_10))],
            id="a close that does not hold",
        ),
        pytest.param(
            [spring(APR_03, APR_25)],
            [OPENED, CLOSED],
            [("corrected", APR_03, (APR_03, APR_10))],
            id="a close that moved",
        ),
        pytest.param(
            [spring(APR_03)],
            [OPENED, CLOSED, told("opened again", APR_20)],
            [("corrected", APR_03, (APR_03, APR_10)), ("corrected", APR_03, (APR_20, None))],
            id="a pause that never was",
        ),
        pytest.param(
            [spring(APR_03, APR_10), spring(APR_20)],
            [told("opened", APR_20)],
            [],
            id="an earlier window that late readings bring to light is not news",
        ),
        pytest.param(
            [spring(APR_03, APR_16), spring(APR_20)], [OPENED], [], id="a pause of four days"
        ),
        pytest.param(
            [spring(APR_03, APR_15), spring(APR_20)],
            [OPENED],
            [("closed", APR_03, None), ("opened again", APR_20, None)],
            id="a pause of five days",
        ),
        pytest.param(
            [spring(APR_03, APR_16), spring(APR_20, APR_25)],
            [OPENED],
            [("closed", APR_03, None)],
            id="a close after a short pause is that of the whole",
        ),
        pytest.param(
            [spring(APR_03, APR_16), spring(APR_20)],
            [],
            [("opened", APR_03, None)],
            id="an untold opening with a short pause",
        ),
        pytest.param(
            [spring(APR_03, APR_16), spring(APR_20)],
            [OPENED, told("closed", APR_03, APR_16)],
            [("opened again", APR_20, None)],
            id="a short pause that was told",
        ),
        pytest.param(
            [spring(APR_03, APR_16), spring(APR_20)],
            [told("opened", APR_20)],
            [],
            id="a short pause before an opening that was told",
        ),
    ],
)
def test_what_there_is_to_tell(spans, already_told, expected) -> None:
    changes = find_changes(spans, already_told, as_of=MAY_30)
    found = [(c.what, c.span and c.span.opened_on, c.told) for c in changes]
    assert found == expected


@pytest.mark.parametrize(
    ("reason", "as_of", "is_told"),
    [
        # by hand: on the evening of 24 April it has been closed for the five days from the 20th on
        pytest.param("cold", date(2025, 4, 23), False, id="four days of cold"),
        pytest.param("cold", date(2025, 4, 24), True, id="five days of cold"),
        pytest.param("hot", date(2025, 4, 23), False, id="four days of heat"),
        pytest.param("spent", APR_20, True, id="spent, at once"),
        pytest.param("turned", APR_20, True, id="turned, at once"),
    ],
)
def test_a_close_that_may_be_a_short_pause_is_told_once_it_is_none(reason, as_of, is_told) -> None:
    span = Span(2025, "spring", APR_03, APR_03, APR_20, reason)
    assert [one.what for one in find_changes([span], [OPENED], as_of)] == ["closed"] * is_told


def test_a_look_back_takes_nothing_back_that_was_told_of_later_days() -> None:
    assert find_changes([], [told("opened", APR_20)], as_of=APR_10) == []


def test_a_look_back_between_opening_and_close_does_not_correct_the_close() -> None:
    assert find_changes([spring(APR_03)], [OPENED, CLOSED], as_of=date(2025, 4, 5)) == []


def test_the_turn_of_the_season_closes_spring_before_it_opens_fall() -> None:
    fall = Span(2025, "fall", APR_20, APR_20, None, None)
    changes = find_changes([spring(APR_03, APR_20), fall], [OPENED], as_of=MAY_30)
    assert changes == [
        Change(2025, "spring", "closed", spring(APR_03, APR_20), None),
        Change(2025, "fall", "opened", fall, None),
    ]


GONE = Change(2025, "spring", "corrected", None, (APR_10, None))
OPEN = Change(2025, "spring", "corrected", spring(APR_03), (APR_03, APR_20))


@pytest.mark.parametrize(
    ("change", "temps_c", "state", "known"),
    [
        # by hand: 64 °F are 17.78 °C; the days are 1 to 25 April
        pytest.param(GONE, [15.0] * 25, "too cold", True, id="too cold on the day told"),
        pytest.param(GONE, [15.0] * 5, "no recent readings", False, id="nothing of that day"),
        pytest.param(
            GONE, [np.nan] * 5 + [19.0] * 20, "spring start not seen", False, id="start not seen"
        ),
        pytest.param(
            Change(2025, "fall", "corrected", None, (APR_10, None)),
            *([25.0] * 25, "resting", True),
            id="fall not turned",
        ),
        pytest.param(OPEN, [19.0] * 25, "open", True, id="open to this day"),
        pytest.param(OPEN, [19.0] * 19, "no recent readings", False, id="nothing since the close"),
        pytest.param(OPEN, [19.0] * 21, "no recent readings", False, id="nothing recent"),
    ],
)
def test_what_readings_tell_of_a_window_is_known_and_no_more(change, temps_c, state, known) -> None:
    days = np.arange("2025-04-01", "2025-04-26", dtype="datetime64[D]")
    root_zone_c = np.full(25, np.nan)
    root_zone_c[: len(temps_c)] = temps_c
    rule = GRAPE_PHYLLOXERA
    assert is_known(change, root_zone_c, days, rule, state, APR_25) is known
