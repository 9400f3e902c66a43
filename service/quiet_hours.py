"""Hours in which nothing is sent to a recipient."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo


def find_quiet_end(quiet: tuple[str, str] | None, timezone: str, now: datetime) -> datetime | None:
    """Return when the quiet hours end that it is now, in UTC; None: it is none.

    Parameters
    ----------
    quiet : (from, until) or None
        "HH:MM" of the local clock; they may hold midnight.
    timezone : str
        An IANA name.
    now : datetime
        Aware.
    """
    if quiet is None:
        return None
    zone = ZoneInfo(timezone)
    here = now.astimezone(zone)
    begin, end = map(time.fromisoformat, quiet)
    clock = here.time()
    is_quiet = begin <= clock < end if begin < end else clock >= begin or clock < end
    if not is_quiet:
        return None
    day = here.date() + timedelta(days=clock >= end)
    until = datetime.combine(day, end, zone).astimezone(UTC)
    if until > now:
        return until
    # in the hour that comes twice, the second time: the end of the first one is over
    return datetime.combine(day, end.replace(fold=1), zone).astimezone(UTC)
