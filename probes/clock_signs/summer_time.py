"""Whether a clock is put forward and back with summer time, as its layout says or against it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from probes.clock import Clock, format_offset
from probes.frames import LoggerFile
from probes.stamps import HAPPENS_TWICE, NEVER_HAPPENS

LONGEST_INTERVAL_MIN = 60
"""Of slower loggers the hour may hold no reading, so that only one that is there says something."""

NIGHTS_TOLD = 3
DAY = timedelta(days=1)


@dataclass(frozen=True)
class Change:
    """When a zone's people set their clocks, by the wall and in UTC offsets [min]."""

    at: datetime
    before_min: int
    after_min: int

    @property
    def wall(self) -> tuple[np.datetime64, np.datetime64]:
        """What the wall shows before and after, the earlier first: the hour that is special."""
        walls = (self._wall(self.before_min), self._wall(self.after_min))
        return min(walls), max(walls)

    def _wall(self, offset_min: int) -> np.datetime64:
        return np.datetime64((self.at + timedelta(minutes=offset_min)).replace(tzinfo=None), "us")


def find_changes(zone: str, first: datetime, last: datetime) -> Iterator[Change]:
    """Yield when the clocks of a zone are changed between two instants, ascending."""
    place = ZoneInfo(zone)

    def offset(at: datetime) -> int:
        shown = at.astimezone(place).utcoffset() or timedelta()
        return int(shown.total_seconds() // 60)

    day = first
    while day < last:
        next_day = min(day + DAY, last)
        if offset(day) != offset(next_day):
            early, late = day, next_day
            while late - early > timedelta(minutes=1):
                middle = early + (late - early) / 2
                early, late = (middle, late) if offset(middle) == offset(day) else (early, middle)
            at = (late + timedelta(seconds=30)).replace(second=0, microsecond=0)
            yield Change(at, offset(day), offset(next_day))
        day = next_day


def find_summer_time(
    file: LoggerFile,
    stamped_at: NDArray[np.datetime64],
    clock: Clock,
    zone: str,
    interval_min: float,
    layout_name: str,
) -> list[str]:
    """Return what the nights of the clock change say of a logger's clock.

    Parameters
    ----------
    file : LoggerFile
    stamped_at : array of datetime64[us], shape (n,)
        The stamp of each of its rows, by the clock as declared, in UTC.
    clock : Clock
        As the layout declares it.
    zone : str
        Of the site, where the clock follows none.
    interval_min : float
    layout_name : str
    """
    nights = find_nights_against(file, stamped_at, clock, zone, interval_min)
    if clock.zone is None:
        what = "the logger follows summer time"
        remedy = f'set clock = "{zone}"'
    else:
        what = "the logger keeps one time all year"
        standard_min = min((min(c.before_min, c.after_min) for c in nights), default=0)
        remedy = f'set clock = "{format_offset(standard_min)}", or what it shows,'
    if not nights:
        return []
    return [
        f"the stamps of {name_nights(nights)} say that {what}, against clock = "
        f'"{clock.name}": {remedy} in layout.{layout_name}'
    ]


def find_nights_against(
    file: LoggerFile,
    stamped_at: NDArray[np.datetime64],
    clock: Clock,
    zone: str,
    interval_min: float,
) -> list[Change]:
    """Return the nights whose stamps contradict a clock; parameters as of `find_summer_time`."""
    if clock.in_stamp or stamped_at.size < 2:
        return []
    first, last = (end.item().replace(tzinfo=UTC) for end in (stamped_at.min(), stamped_at.max()))
    # a day more, as the clock may be a wrong one
    changes = find_changes(clock.zone or zone, first - DAY, last + DAY)
    if clock.zone is not None:
        return [change for change in changes if _ignores(file, stamped_at, change, interval_min)]
    has_each_hour = interval_min <= LONGEST_INTERVAL_MIN
    return [one for one in changes if has_each_hour and _follows(stamped_at, clock, one)]


def name_nights(nights: list[Change]) -> str:
    """Return the days of the first nights, and how many more there are."""
    days = ", ".join(f"{change.wall[0].item():%Y-%m-%d}" for change in nights[:NIGHTS_TOLD])
    more = len(nights) - NIGHTS_TOLD
    return f"{days} and {more} more" if more > 0 else days


def _follows(stamped_at: NDArray[np.datetime64], clock: Clock, change: Change) -> bool:
    """Return whether the stamps leave out the hour of spring, or have that of fall twice."""
    offset = np.timedelta64(clock.offset_min or 0, "m")
    begins, ends = (wall - offset for wall in change.wall)
    hour = ends - begins

    def count(first: np.datetime64) -> int:
        return int(((stamped_at >= first) & (stamped_at < first + hour)).sum())

    before, within, after = count(begins - hour), count(begins), count(ends)
    if change.after_min > change.before_min:
        return before == after > 0 == within
    return before == after > 0 and within == 2 * before


def _ignores(
    file: LoggerFile, stamped_at: NDArray[np.datetime64], change: Change, interval_min: float
) -> bool:
    """Return whether stamps stand in the hour of spring, or only once in that of fall."""
    spring = change.after_min > change.before_min
    hour = timedelta(minutes=abs(change.after_min - change.before_min))
    begins, ends = (
        np.datetime64(at.replace(tzinfo=None), "us")
        for at in ((change.at, change.at) if spring else (change.at - hour, change.at + hour))
    )
    earlier, later = file.line[stamped_at < begins], file.line[stamped_at >= ends]
    if not (earlier.size and later.size):
        return False
    forward = earlier[-1] < later[-1]
    low, high = (earlier.max(), later.min()) if forward else (later.max(), earlier.min())
    phrase = NEVER_HAPPENS if spring else HAPPENS_TWICE
    special = sum(phrase in reject.reason for reject in file.rejects if low < reject.line < high)
    if spring:
        return special > 0
    is_told_once = special == round(hour / timedelta(minutes=interval_min))
    return is_told_once and interval_min <= LONGEST_INTERVAL_MIN
