"""Clocks: what a logger's stamps mean in UTC, and where a site's day begins.

A logger states its clock as a fixed offset ("UTC-08:00", "UTC") or as an IANA zone, or each of its
stamps states its own offset ("stamp"); nothing is guessed. A site's day is local STANDARD time by
one fixed offset all year: every day has 24 hours.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import pandas as pd
from numpy.typing import NDArray

OK, AMBIGUOUS, NONEXISTENT = 0, 1, 2
IN_STAMP = "stamp"

_FIXED = re.compile(r"UTC(?:([+-])(\d{2}):(\d{2}))?")


@dataclass(frozen=True)
class Clock:
    """What a logger's clock shows: `name` as the layout states it, `zone` where it follows one."""

    name: str
    offset_min: int | None
    zone: str | None

    @property
    def in_stamp(self) -> bool:
        """Whether each stamp states its own offset, so that it is read as UTC."""
        return self.name == IN_STAMP


def parse_clock(text: str) -> Clock:
    """Return the clock a layout states: "UTC", "UTC-08:00", an IANA zone name or "stamp".

    Raises
    ------
    ValueError
        When it is none of them, with what to write instead.
    """
    if _FIXED.fullmatch(text):
        return Clock(text, parse_offset_min(text), None)
    if text == IN_STAMP:
        return Clock(text, 0, None)
    try:
        ZoneInfo(text)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise ValueError(
            f"'{text}' is no clock; write a fixed offset such as \"UTC-08:00\" "
            'or an IANA zone such as "America/Los_Angeles"'
        ) from None
    return Clock(text, None, text)


def parse_offset_min(text: str) -> int:
    """Return the minutes east of Greenwich of "UTC+09:30" (570) or "UTC" (0).

    Raises
    ------
    ValueError
        When the text is no such offset, or lies beyond 14 hours.
    """
    fixed = _FIXED.fullmatch(text)
    if fixed is None:
        raise ValueError(f"'{text}' is no fixed offset; write it as \"UTC-08:00\"")
    sign, hours, minutes = fixed.groups()
    offset_min = 0 if sign is None else int(f"{sign}1") * (int(hours) * 60 + int(minutes))
    if abs(offset_min) > 14 * 60 or (minutes is not None and int(minutes) > 59):
        raise ValueError(f"'{text}' is no offset of a place on Earth; write it as \"UTC-08:00\"")
    return offset_min


def format_offset(offset_min: int) -> str:
    """Return "UTC+09:30" for 570."""
    sign = "-" if offset_min < 0 else "+"
    return f"UTC{sign}{abs(offset_min) // 60:02d}:{abs(offset_min) % 60:02d}"


def local_to_utc(
    local: NDArray[np.datetime64], clock: Clock
) -> tuple[NDArray[np.datetime64], NDArray[np.int8]]:
    """Return the UTC instants of a logger's stamps and, for each, why it has none.

    Parameters
    ----------
    local : array of datetime64[us], shape (n,)
        Stamps as the clock showed them.
    clock : Clock

    Returns
    -------
    utc : array of datetime64[us], shape (n,)
        NaT where the stamp has no single instant.
    problem : array of int8, shape (n,)
        OK, AMBIGUOUS (the hour that happens twice) or NONEXISTENT (the hour that is left out).
    """
    if clock.zone is None:
        return local - np.timedelta64(clock.offset_min or 0, "m"), np.zeros(local.size, np.int8)
    wall = pd.DatetimeIndex(local)
    early = wall.tz_localize(clock.zone, ambiguous=np.ones(wall.size, bool), nonexistent="NaT")
    late = wall.tz_localize(clock.zone, ambiguous=np.zeros(wall.size, bool), nonexistent="NaT")
    problem = np.where(early.isna(), NONEXISTENT, np.where(early != late, AMBIGUOUS, OK))
    utc = early.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[us]")
    return np.where(problem == OK, utc, np.datetime64("NaT", "us")), problem.astype(np.int8)


def standard_offset_min(zone: str, year: int) -> int:
    """Return a zone's standard offset [min]: the more westerly of 1 January and 1 July."""
    place: tzinfo = ZoneInfo(zone)
    offsets = [datetime(year, month, 1, tzinfo=place).utcoffset() for month in (1, 7)]
    return min(int(o.total_seconds() // 60) for o in offsets if o is not None)


def last_ended_day(now: datetime, offset_min: int) -> date:
    """Return the last local standard day that has ended at the instant `now`."""
    return (now.astimezone(UTC) + timedelta(minutes=offset_min)).date() - timedelta(days=1)
