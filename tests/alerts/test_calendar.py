"""Calendars of a digest, read back by two libraries: the window, its changes, its end."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import icalendar
import pytest
import vobject
from hypothesis import given
from hypothesis import strategies as st

from alerts.calendar import write_calendars
from alerts.digest import compose_digest
from alerts.events import Event
from alerts.expectations import Expectation
from alerts.mail import compose_mail
from alerts.notices import Notice, Nowcast
from alerts.outlook.dates import Chances, Outlook
from alerts.rules import GRAPE_PHYLLOXERA
from tests.alerts.test_digest import AS_OF, READERS
from tests.mails import read_mail
from tests.notices import NOT_KNOWN, NOT_OPENED, make_closed, make_notice

NOW = datetime(2025, 10, 21, 6, 30, 0, 5, tzinfo=UTC)
SENDER = "Alder Bench Growers <dig@alder.example>"


def events_of(*notices: Notice, language: str = "en", **options: Any) -> tuple[Event, ...]:
    return compose_digest(notices, READERS[language], AS_OF, **options).events


def fall_outlook(closes: date) -> dict[str, Expectation]:
    """Return that fall dig season in Terrace 7 is likely to close by a day at the latest."""
    chances = Chances(1.0, 0.0, 0.0, 0.0, closes - timedelta(days=9), closes, closes)
    outlook = Outlook(2025, AS_OF, AS_OF, "fall", None, chances, None)
    return {"Alder Bench/Terrace 7": Expectation(outlook, GRAPE_PHYLLOXERA)}


OCT_4, NOV_15 = date(2025, 10, 4), date(2025, 11, 15)
PROBABLY = Nowcast(AS_OF, OCT_4, 0.9, None)


@pytest.mark.parametrize(
    ("notice", "status", "first", "stop"),
    [
        # by hand: the day by which it is over is the first on which it is not open
        pytest.param(make_notice(), "CONFIRMED", OCT_4, NOV_15, id="open"),
        pytest.param(make_closed("spent"), "CONFIRMED", OCT_4, date(2025, 10, 20), id="closed"),
        pytest.param(
            make_notice(what="corrected", told_opened_on=date(2025, 9, 30)),
            "CONFIRMED", OCT_4, NOV_15, id="moved",
        ),
        pytest.param(make_notice(**NOT_OPENED), "CANCELLED", OCT_4, None, id="not opened"),
        pytest.param(make_notice(**NOT_KNOWN), "TENTATIVE", OCT_4, None, id="not known"),
        pytest.param(
            make_notice(what="probably open", ends_by=None, nowcast=PROBABLY),
            "TENTATIVE", OCT_4, None, id="nowcast",
        ),
        pytest.param(
            make_notice(kind="fall", ends_by=None), "CONFIRMED", OCT_4, None, id="fall, no outlook"
        ),
    ],
)  # fmt: skip
def test_a_window_is_one_event(notice: Notice, status: str, first: date, stop: date | None) -> None:
    (event,) = events_of(notice)
    assert (event.status, event.first, event.stop) == (status, first, stop)


def test_fall_lasts_in_the_calendar_as_long_as_it_is_likely_to() -> None:
    notice = make_notice(kind="fall", ends_by=None)
    (event,) = events_of(notice, expected=fall_outlook(date(2025, 12, 1)))
    assert event.stop == date(2025, 12, 1)


def test_a_window_that_has_probably_closed_keeps_its_event() -> None:
    nowcast = Nowcast(AS_OF, date(2025, 10, 18), 0.9, date(2025, 10, 1))
    notice = make_notice(
        what="probably closed", opened_on=None, closed_on=date(2025, 10, 18), nowcast=nowcast
    )
    assert events_of(notice) == ()


def test_a_window_has_one_name_whatever_becomes_of_it_and_no_other_has_it() -> None:
    opened, closed = events_of(make_notice())[0], events_of(make_closed("hot"))[0]
    others = [make_notice(kind="fall"), make_notice(season=2026), make_notice("Terrace 8")]
    assert opened.uid == closed.uid
    assert len({opened.uid, *(events_of(one)[0].uid for one in others)}) == 4


def test_of_several_notices_of_a_window_the_last_holds() -> None:
    (event,) = events_of(make_notice(revision=2), make_closed("hot", revision=3))
    assert (event.revision, event.stop) == (3, date(2025, 10, 20))


def test_both_windows_of_a_season_have_their_events() -> None:
    fall = make_notice(kind="fall", opened_on=date(2026, 3, 1), not_before=date(2026, 3, 1))
    found = events_of(make_closed("turned"), fall)
    assert sorted(event.first for event in found) == [OCT_4, date(2026, 3, 1)]


def calendars(*notices: Notice, language: str = "en") -> dict[str, str]:
    return dict(write_calendars(events_of(*notices, language=language), "dig@alder.example", NOW))


def parse(text: str) -> tuple[Any, list[Any]]:
    """Return an object and its events, as the library reads them."""
    parsed = icalendar.Calendar.from_ical(text)
    return parsed, parsed.walk("VEVENT")


def test_an_open_window_is_published() -> None:
    ((method, text),) = calendars(make_notice(revision=1)).items()
    parsed, (event,) = parse(text)
    assert (method, parsed["METHOD"], parsed["VERSION"]) == ("PUBLISH", "PUBLISH", "2.0")
    assert event["SUMMARY"] == "Dig season in Terrace 7"
    assert event["LOCATION"] == "Alder Bench"
    assert event["SEQUENCE"] == 1
    assert event["TRANSP"] == "TRANSPARENT"
    assert event["ORGANIZER"] == "mailto:dig@alder.example"  # source: [RFC-5546] 3.2.1, required
    assert event["DTSTAMP"].dt == datetime(2025, 10, 21, 6, 30, tzinfo=UTC)
    # source: [RFC-5545] 3.6.1, an event of dates ends before its DTEND
    assert (event["DTSTART"].dt, event["DTEND"].dt) == (OCT_4, NOV_15)
    assert "DTSTART;VALUE=DATE:20251004\r\n" in text
    assert "Spring dig season opened on 4 October" in event["DESCRIPTION"]


def test_a_window_that_did_not_open_is_called_off() -> None:
    _, (opened,) = parse(calendars(make_notice())["PUBLISH"])
    ((method, text),) = calendars(make_notice(**NOT_OPENED, revision=1)).items()
    _, (event,) = parse(text)
    # source: [RFC-5546] 3.2.5, the same UID, a greater SEQUENCE, STATUS:CANCELLED
    assert (method, event["STATUS"]) == ("CANCEL", "CANCELLED")
    assert event["UID"] == opened["UID"]
    assert (opened["SEQUENCE"], event["SEQUENCE"]) == (0, 1)


def test_what_stands_and_what_is_called_off_are_two_objects() -> None:
    both = calendars(make_notice(), make_notice("Terrace 8", **NOT_OPENED))
    assert list(both) == ["PUBLISH", "CANCEL"]


def test_another_library_reads_the_same() -> None:
    text = calendars(make_notice('Peña ñandú; "A", B\\C', revision=2), language="es")["PUBLISH"]
    event: Any = vobject.readOne(text).vevent  # type: ignore[union-attr]
    assert event.summary.value == 'Temporada de revisar raíces en Peña ñandú; "A", B\\C'
    assert (event.dtstart.value, event.dtend.value) == (OCT_4, NOV_15)
    assert event.sequence.value == "2"


@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=120))
def test_any_name_is_folded_escaped_and_read_back(name: str) -> None:
    event = Event("1", 0, "CONFIRMED", OCT_4, NOV_15, name, name, name)
    ((_, text),) = write_calendars([event], "dig@alder.example", NOW)
    # source: [RFC-5545] 3.1, lines of at most 75 octets that end in CR LF
    lines = text.split("\r\n")
    assert max(len(line.encode()) for line in lines) <= 75
    assert text.count("BEGIN:VEVENT") == 1
    _, (found,) = parse(text)
    assert found["UID"] == "1"


def test_a_mail_carries_calendars_as_files_with_their_method() -> None:
    letter = compose_digest(
        [make_notice(), make_notice("Terrace 8", **NOT_OPENED)], READERS["en"], AS_OF
    )
    mail = read_mail(compose_mail(letter, SENDER, "ana@alder.example", NOW, "<1@alder.example>"))
    assert mail.get_content_type() == "multipart/mixed"
    files = list(mail.iter_attachments())
    assert [(one.get_content_type(), one.get_filename()) for one in files] == [
        ("text/calendar", "dig-season.ics"), ("text/calendar", "called-off.ics"),
    ]  # fmt: skip
    for one in files:
        parsed, _ = parse(one.get_content())
        # source: [RFC-6047] 2.4, the method of the type is that of the object
        assert one["Content-Type"].params["method"] == parsed["METHOD"]
