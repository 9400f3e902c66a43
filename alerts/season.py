"""Seasons: the calendar year north of the equator; 1 July to 30 June south of it."""

from __future__ import annotations

from calendar import monthrange
from datetime import date

from alerts.rules import MonthDay


def season_of(day: date, south: bool) -> int:
    """Return the season a day belongs to; south of the equator the year in which it began."""
    return day.year - 1 if south and day.month < 7 else day.year


def season_start(season: int, south: bool) -> date:
    """Return the first day of a season."""
    return date(season, 7 if south else 1, 1)


def season_day(month_day: MonthDay, season: int, south: bool) -> date:
    """Return a rule's date, given for the north, in a season of either hemisphere.

    South of the equator it stands six months later; the last day of a month stays the last day of
    one (30 June becomes 31 December).
    """
    month, day = month_day
    if not south:
        return date(season, month, day)
    year, south_month = season + (month > 6), (month + 5) % 12 + 1
    last_day = monthrange(year, south_month)[1]
    is_last = day == monthrange(season, month)[1]
    return date(year, south_month, last_day if is_last else min(day, last_day))
