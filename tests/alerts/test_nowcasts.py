"""Nowcasts: when they are told, and what readings make of them, as a story told day by day."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import pytest

from alerts.changes import Change, Told, find_changes
from alerts.digest import Reader, compose_digest
from alerts.news import gather_news
from alerts.notices import Notice, What
from alerts.nowcasts import LATE_DAYS, NOWCAST_CHANCE, find_nowcast, settle_nowcasts
from alerts.outlook.dates import Chances, Outlook
from alerts.sms import compose_sms
from alerts.windows import Span
from tests.notices import NOT_OPENED, make_notice, make_nowcast

LAST, SINCE, NOW = date(2026, 4, 18), date(2026, 5, 3), date(2026, 5, 6)
SOON = Chances(1.0, 0.86, 0.95, 1.0, date(2026, 4, 29), SINCE, date(2026, 5, 8))
LATER = Chances(1.0, 0.0, 0.0, 0.0, date(2026, 6, 8), date(2026, 6, 14), date(2026, 6, 20))
LIKELY_OPEN = Outlook(2026, NOW, LAST, "spring", SOON, LATER, None)


def span(opened_on: date, closed_on: date | None = None) -> Span:
    reason = "hot" if closed_on else None
    return Span(2026, "spring", opened_on, opened_on, closed_on, reason, closed_on)


@dataclass
class Story:
    """What people are told of one block, day by day."""

    told: list[Told] = field(default_factory=list)

    def tell(self, change: Change) -> What:
        """Keep a change as the store does."""
        since = change.nowcast and change.nowcast.since
        opened_on = change.span and change.span.opened_on
        closed_on = change.span and change.span.closed_on
        self.told.append(
            Told(
                change.season,
                change.kind,
                change.what,
                since if change.what == "probably open" else opened_on,
                since if change.what == "probably closed" else closed_on,
                (change.told or change.nowcast_said or (None,))[0],
                change.nowcast and change.nowcast.issued_on,
            )
        )
        return change.what

    def look(self, outlook: Outlook = LIKELY_OPEN) -> list[What]:
        """Tell what an outlook says, with no readings."""
        found = find_nowcast(outlook, self.told)
        return [self.tell(found)] if found else []

    def read(self, as_of: date, *spans: Span) -> list[Change]:
        """Tell what readings up to a day say."""
        found = find_changes(spans, self.told, as_of)
        changes = list(settle_nowcasts(found, spans, self.told, as_of, as_of))
        for change in changes:
            self.tell(change)
        return changes


@pytest.fixture
def story() -> Story:
    """A story in which it was told on 6 May that spring is probably open since about 3 May."""
    begun = Story()
    assert begun.look() == ["probably open"]
    return begun


def test_a_nowcast_is_told_once_with_what_it_rests_on() -> None:
    story = Story()
    found = find_nowcast(LIKELY_OPEN, [])
    assert found is not None
    assert found.nowcast is not None
    assert vars(found.nowcast) == {
        "issued_on": NOW,
        "since": SINCE,
        "chance": 0.86,
        "last_day": LAST,
    }
    assert [story.look(), story.look()] == [["probably open"], []]


@pytest.mark.parametrize(
    ("outlook", "is_told"),
    [
        pytest.param(
            replace(LIKELY_OPEN, opens=replace(SOON, by_now=NOWCAST_CHANCE)), True, id="8 in 10"
        ),
        pytest.param(
            replace(LIKELY_OPEN, opens=replace(SOON, by_now=NOWCAST_CHANCE - 0.01)),
            False,
            id="less",
        ),
        pytest.param(
            replace(LIKELY_OPEN, last_day=NOW - timedelta(days=LATE_DAYS)), True, id="a week late"
        ),
        pytest.param(
            replace(LIKELY_OPEN, last_day=NOW - timedelta(days=LATE_DAYS - 1)),
            False,
            id="less late",
        ),
        pytest.param(replace(LIKELY_OPEN, last_day=None), True, id="no readings this season"),
        pytest.param(
            replace(LIKELY_OPEN, closes=replace(LATER, by_now=0.2)),
            False,
            id="perhaps closed again",
        ),
    ],
)
def test_it_takes_eight_chances_in_ten_and_a_week(outlook: Outlook, is_told: bool) -> None:
    assert bool(Story().look(outlook)) == is_told


def test_the_ordinary_notice_replaces_it_and_says_what_it_had_said(story: Story) -> None:
    opened_on = date(2026, 5, 5)
    (change,) = story.read(date(2026, 5, 23), span(opened_on))
    assert (change.what, change.nowcast_said) == ("opened", (SINCE, None))
    assert story.read(date(2026, 5, 24), span(opened_on)) == []


def test_readings_that_do_not_reach_it_change_nothing(story: Story) -> None:
    assert story.read(NOW - timedelta(days=1)) == []


def test_readings_that_contradict_it_are_told_once_and_a_later_opening_as_always(story) -> None:
    (change,) = story.read(NOW)
    assert (change.what, change.span, change.nowcast_said) == (
        "nowcast withdrawn",
        None,
        (SINCE, None),
    )
    assert story.read(NOW + timedelta(days=1)) == []
    (change,) = story.read(date(2026, 5, 20), span(date(2026, 5, 20)))
    assert (change.what, change.nowcast_said) == ("opened", None)


def test_a_window_that_came_and_went_meanwhile_is_told_as_closed(story: Story) -> None:
    gone = span(date(2026, 5, 5), date(2026, 5, 19))
    (change,) = story.read(date(2026, 5, 23), gone)
    assert (change.what, change.span, change.nowcast_said) == ("closed", gone, (SINCE, None))
    assert story.read(date(2026, 5, 24), gone) == []


def closing(by_now: float) -> Outlook:
    """Return what is likely weeks later, with still no readings."""
    closes = replace(LATER, by_now=by_now)
    return replace(LIKELY_OPEN, issued_on=date(2026, 6, 25), opens=None, closes=closes)


def test_an_open_window_has_probably_closed_and_the_close_replaces_that() -> None:
    story = Story()
    opened = span(date(2026, 4, 15))
    story.read(LAST, opened)
    assert [story.look(closing(0.7)), story.look(closing(0.9))] == [[], ["probably closed"]]
    assert story.look(closing(0.95)) == []
    assert story.read(date(2026, 6, 20), opened) == []  # not as far as that was told
    closed = replace(opened, closed_on=date(2026, 6, 10), reason="hot")
    (change,) = story.read(date(2026, 6, 26), closed)
    assert (change.what, change.nowcast_said) == ("closed", (None, date(2026, 6, 14)))


def test_a_window_that_is_still_open_after_all_is_a_correction() -> None:
    story = Story()
    opened = span(date(2026, 4, 15))
    story.read(LAST, opened)
    story.look(closing(0.9))
    (change,) = story.read(date(2026, 6, 26), opened)
    assert (change.what, change.told) == ("corrected", (opened.opened_on, date(2026, 6, 14)))
    assert story.read(date(2026, 6, 27), opened) == []


def test_a_nowcast_of_a_later_day_is_left_aside_in_a_look_back(story: Story) -> None:
    assert story.read(NOW - timedelta(days=1), span(date(2026, 5, 5)))[0].nowcast_said is None


READERS = {
    "en": Reader("Ana", "en", "F", "Alder Bench Growers"),
    "es": Reader("Ana", "es", "C", "Alder Bench Growers"),
}
TOLD_ON = date(2025, 10, 20)


@pytest.mark.parametrize(
    ("notice", "language", "subject", "in_mail", "in_text"),
    [
        (
            make_nowcast(),
            "en",
            "Terrace 7: dig season is probably open (nowcast)",
            "Nowcast: spring dig season has probably been open since about 4 October; last "
            "readings 20 September. The chance that it is open now is 86 %; readings will replace "
            "this.",
            "Last readings 20 Sept. Since about 4 Oct.",
        ),
        (
            make_nowcast("probably closed"),
            "en",
            "Terrace 7: dig season is probably closed (nowcast)",
            "has probably been closed since about 4 October; last readings 20 September. The "
            "chance that it is closed now is 86 %",
            "Last readings 20 Sept. Since about 4 Oct.",
        ),
        (
            make_nowcast(),
            "es",
            "Terrace 7: probablemente abierta la temporada (estimación)",
            "La probabilidad de que esté abierta ahora es del 86 %; las lecturas reemplazarán "
            "esto.",
            "Ultimas lecturas: 20 sept.",
        ),
        (
            make_notice(told_opened_on=date(2025, 10, 2)),
            "en",
            "Terrace 7: dig season is open",
            "Spring dig season opened on 4 October, 16 days ago; the nowcast had said about "
            "2 October.",
            "Opened on 4 Oct.",
        ),
        (
            make_notice(**{**NOT_OPENED, "what": "nowcast withdrawn"}),
            "en",
            "Terrace 7: spring dig season has not opened, the nowcast was wrong",
            "Spring dig season has not opened: the nowcast had said about 4 October, and the "
            "readings that have come since do not show it.",
            "has not opened, the nowcast was wrong",
        ),
    ],
    ids=["open", "closed", "open, in Spanish", "replaced", "withdrawn"],
)
def test_a_nowcast_is_marked_as_one_wherever_it_is_told(
    notice: Notice, language: str, subject: str, in_mail: str, in_text: str
) -> None:
    letter = compose_digest([notice], READERS[language], TOLD_ON)
    assert letter.subject == subject
    assert in_mail in " ".join(letter.text.split())
    assert in_text in compose_sms([notice], READERS[language], TOLD_ON)


def test_of_a_nowcast_and_what_replaces_it_only_that_is_told() -> None:
    replaced = make_notice(opened_on=date(2025, 10, 2), told_opened_on=date(2025, 10, 4))
    (news,) = gather_news([make_nowcast(), replaced])
    assert news.notices == (replaced,)
    assert gather_news([make_nowcast()])[0].is_open
