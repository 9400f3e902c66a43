"""One calendar of blocks, read back by two libraries: windows that were, are and are likely."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import icalendar
import vobject

from alerts.calendar import write_feed
from alerts.calendar_feed import BlockWindows, find_feed_events
from alerts.events import Event, find_events
from alerts.expectations import Expectation
from alerts.news import gather_news
from alerts.outlook.dates import Chances, Outlook
from alerts.rules import GRAPE_PHYLLOXERA
from alerts.windows import Span
from tests.notices import make_notice

AS_OF = date(2025, 10, 20)
NOW = datetime(2025, 10, 21, tzinfo=UTC)
FALL = Span(2024, "fall", date(2025, 3, 1), date(2025, 3, 1), date(2025, 3, 9), "cold")
AGAIN = replace(FALL, opened_on=date(2025, 3, 20), not_before=date(2025, 3, 20),
                closed_on=date(2025, 5, 2))  # fmt: skip
OPEN = Span(2025, "spring", date(2025, 10, 4), date(2025, 10, 4), None, None)
BLOCK = BlockWindows(
    block_id="Alder Bench/Terrace 7",
    block_name="Terrace 7",
    site_name="Alder Bench",
    as_of=AS_OF,
    south=True,
    spring_days=42,
    spans=[FALL, AGAIN, OPEN],
    expected=None,
)


def chances(p10: date | None, p50: date | None, p90: date | None, by_now: float = 0.0) -> Chances:
    return Chances(0.9, by_now, 0.0, 0.0, p10, p50, p90)


def expect(opens: Chances | None, closes: Chances) -> Expectation:
    outlook = Outlook(2025, AS_OF, AS_OF, "spring", opens, closes, None)
    return Expectation(outlook, GRAPE_PHYLLOXERA)


def events_of(*blocks: BlockWindows, language: str = "en") -> list[Event]:
    return [*find_feed_events(blocks, "Alder Bench Growers", language, "F")]


NOV_1, NOV_9, NOV_20 = date(2025, 11, 1), date(2025, 11, 9), date(2025, 11, 20)


def test_a_window_is_one_event_from_its_first_opening_to_its_last_close() -> None:
    fall, spring = events_of(BLOCK)
    assert (fall.first, fall.stop) == (FALL.opened_on, AGAIN.closed_on)
    assert fall.description.startswith(
        "Fall dig season opened on 1 March 2025 and closed on 9 March 2025. Fall dig season opened "
        "on 20 March 2025 and closed on 2 May."
    )
    # by hand: 42 days from 4 October on are up to 14 November
    assert (spring.first, spring.stop) == (OPEN.opened_on, date(2025, 11, 15))
    assert spring.description.endswith("Mind buried lines, heat, sharp tools, local rules.")


def test_an_open_window_ends_when_it_is_likely_to_be_closed() -> None:
    one = replace(BLOCK, expected=expect(None, chances(NOV_1, NOV_9, NOV_9)))
    assert events_of(one)[1].stop == NOV_9


def test_an_open_fall_without_an_outlook_is_known_up_to_its_day() -> None:
    open_fall = replace(OPEN, kind="fall")
    (event,) = events_of(replace(BLOCK, spans=[open_fall]))
    assert event.stop == AS_OF + timedelta(days=1)


def test_an_awaited_window_stands_on_its_likely_days() -> None:
    expected = expect(chances(NOV_1, NOV_9, NOV_20), chances(None, NOV_20, None))
    (event,) = events_of(replace(BLOCK, spans=[], expected=expected))
    assert (event.status, event.first, event.stop) == ("TENTATIVE", NOV_9, NOV_20)
    assert event.summary == "Dig season in Terrace 7, perhaps"
    assert "likely to open between 1 and 20 November" in event.description


def test_what_is_not_likely_has_no_event() -> None:
    unlikely = expect(chances(NOV_1, None, None), chances(None, None, None))
    over = expect(chances(NOV_1, NOV_9, NOV_20, 0.9), chances(NOV_1, NOV_9, NOV_20, 0.8))
    assert events_of(*(replace(BLOCK, spans=[], expected=one) for one in (unlikely, over))) == []


def test_an_event_has_the_name_that_mails_give_it_and_a_number_that_grows() -> None:
    notice = make_notice(season=2025)
    news = gather_news([notice])
    (mailed,) = find_events(news, "Alder Bench Growers", "en", {}, {notice: "open"})
    opened, later = (events_of(replace(BLOCK, as_of=day))[1] for day in (AS_OF, date(2026, 8, 1)))
    assert opened.uid == later.uid == mailed.uid
    assert later.revision > opened.revision


def test_two_libraries_read_the_same_calendar() -> None:
    blocks = [BLOCK, replace(BLOCK, block_id="x", block_name="Ladera; norte, “ñ”" * 4)]
    text = write_feed(events_of(*blocks, language="es"), "Valle; río", NOW)
    # source: [RFC-5545] 3.1: lines of 75 octets at the most, ended by CRLF
    assert max(len(line) for line in text.encode().split(b"\r\n")) <= 75
    read: Any = icalendar.Calendar.from_ical(text)
    other: Any = vobject.readOne(text)
    assert str(read["name"]) == other.contents["name"][0].value == "Valle; río"
    names = [
        (str(one["uid"]), str(one["summary"]), one["dtstart"].dt) for one in read.walk("VEVENT")
    ]
    assert names == [
        (one.uid.value, one.summary.value, one.dtstart.value) for one in other.vevent_list
    ]
    assert len(names) == 4
    assert "METHOD" not in text
