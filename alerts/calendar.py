"""Events as iCalendar objects, for the programs in which people keep their calendars."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from functools import lru_cache

from icalendar import Calendar, vCalAddress
from icalendar import Event as CalendarEvent

from alerts.events import Event

REFRESH = timedelta(hours=12)
PRODUCT = "-//Digseason//Dig season//EN"


def write_calendars(
    events: Sequence[Event], organizer: str, now: datetime
) -> Iterator[tuple[str, str]]:
    """Yield method and text of an object with what stands, and of one with what is called off.

    Parameters
    ----------
    organizer : str
        A mail address.
    now : datetime
        Aware.

    They show no one as busy. An all-day event ends on the day before its DTEND.

    References
    ----------
    [RFC-5545]; [RFC-5546] 3.2.1 and 3.2.5 for PUBLISH and CANCEL.
    """
    for method, is_cancelled in (("PUBLISH", False), ("CANCEL", True)):
        of_method = [one for one in events if (one.status == "CANCELLED") is is_cancelled]
        if not of_method:
            continue
        calendar = Calendar()
        calendar.add("prodid", PRODUCT)
        calendar.add("version", "2.0")
        calendar.add("method", method)
        yield method, _fill(calendar, [_write_event(one, organizer, now) for one in of_method])


def write_feed(events: Sequence[Event], name: str, now: datetime) -> str:
    """Return one object with all events, for programs that fetch it again and again.

    Parameters
    ----------
    name : str
        What the calendar is called.
    now : datetime
        Aware; of the last change.

    References
    ----------
    [RFC-5545]; [RFC-7986] for NAME and REFRESH-INTERVAL.
    """
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)  # what programs read that do not know NAME
    calendar.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    return _fill(calendar, [_write_event(one, None, now) for one in events])


def _fill(calendar: Calendar, events: Iterable[str]) -> str:
    end = "END:VCALENDAR\r\n"
    return "".join([calendar.to_ical().decode().removesuffix(end), *events, end])


@lru_cache(4096)  # many readers have the same
def _write_event(one: Event, organizer: str | None, now: datetime) -> str:
    event = CalendarEvent()
    event.add("uid", one.uid)
    event.add("dtstamp", now.astimezone(UTC).replace(microsecond=0))
    event.add("sequence", one.revision)
    event.add("status", one.status)
    event.add("dtstart", one.first)
    if one.stop:
        event.add("dtend", one.stop)
    event.add("summary", one.summary)
    event.add("location", one.site_name)
    event.add("description", one.description)
    if organizer:
        event.add("organizer", vCalAddress(f"mailto:{organizer}"))
    event.add("transp", "TRANSPARENT")
    return event.to_ical().decode()
