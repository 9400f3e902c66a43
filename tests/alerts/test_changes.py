"""What is new about a block, held against what was told."""

from datetime import date

import pytest

from alerts.changes import Change, Told, find_changes
from alerts.windows import Span

APR_03, APR_10, APR_20, APR_25, MAY_30 = (
    date(2025, 4, 3),
    date(2025, 4, 10),
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
            [spring(APR_03, APR_10), spring(APR_20)],
            [told("opened", APR_20)],
            [],
            id="an earlier window that late readings bring to light is not news",
        ),
    ],
)
def test_what_there_is_to_tell(spans, already_told, expected) -> None:
    changes = find_changes(spans, already_told, as_of=MAY_30)
    found = [(c.what, c.span and c.span.opened_on, c.told) for c in changes]
    assert found == expected


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
