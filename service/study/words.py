"""Places and estimates in words: for the terminal and for reports."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from math import isinf

from alerts.season import season_start
from alerts.study.estimates import Difference, Middle, Trend
from service.study.summaries import Key

_WIDE_D = 20
"""Of an interval: tenths of a day say nothing in one."""


def name_place(place: Key) -> str:
    """Return "terrace-7" or "upper, 30 cm"."""
    site, block, depth_cm = place
    return block or f"{site}, {depth_cm:g} cm"


def show_middle(middle: Middle | None, south: bool) -> str:
    """Return the days between which half of the seasons have opened."""
    if middle is None or isinf(middle.last):
        return "not half"
    first, last = (show_day(instant_of(day, south)) for day in (middle.first, middle.last))
    return last if first == last else f"{first}-{last}"


def instant_of(number: float, south: bool) -> datetime:
    """Return a day of the season, or a mean of some, in a season without a leap day."""
    return datetime.combine(season_start(2001, south), time()) + timedelta(days=number - 1)


def show_day(day: date) -> str:
    """Return "5 May"."""
    return f"{day.day} {day:%b}"


def show_days(first: date, last: date) -> str:
    """Return "5 May", or "5 May-9 Jun" and "5-9 May" where it is known between two days."""
    if first == last:
        return show_day(last)
    begin = show_day(first) if first.month != last.month else str(first.day)
    return f"{begin}-{show_day(last)}"


def show_trend(trend: Trend) -> str:
    """Return a slope with its interval, and what it rests on."""
    left_out = f", {trend.left_out} left out" if trend.left_out else ""
    digits = 1 if trend.high - trend.low < _WIDE_D else 0
    slope, low, high = (f"{one:+.{digits}f}" for one in (trend.slope, trend.low, trend.high))
    return (
        f"{slope} days a decade (95 %: {low} to {high}), "
        f"p = {trend.p:.2g}, {trend.seasons} seasons{left_out}"
    )


def show_difference(found: Difference) -> str:
    """Return a mean difference with its interval, and of how many seasons."""
    if found.mean is None:
        return f"{found.least:+.1f} to {found.most:+.1f} days, {found.hidden} hidden by gaps"
    text = f"{found.mean:+.1f} days"
    if found.low is not None and found.high is not None:
        text += f" (95 %: {found.low:+.1f} to {found.high:+.1f})"
    text += f", {found.seasons} season{'s' * (found.seasons != 1)}"
    text += f", {found.hidden} hidden by gaps" if found.hidden else ""
    return text + (f", {found.left_out} left out" if found.left_out else "")
