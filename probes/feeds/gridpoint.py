"""The national weather service's forecast for a grid cell [NWS-GRIDPOINT]: air temperature by day.

A value holds for an interval, "2024-06-25T21:00:00+00:00/PT2H": neighbours that are alike are given
as one. There is no soil temperature in it.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from probes.feeds.answers import is_number, show
from probes.feeds.contract import FeedAnswerError
from probes.units import f_to_c

STALE = timedelta(hours=36)  # its own network has served grids days old [NWS-GRIDPOINT]: ours
COLDEST_C, WARMEST_C = -90.0, 60.0  # beyond what air has been: "values in the thousands" occur
_UNITS = ("degC", "degF")
_DURATION = re.compile(r"P(?:(\d{1,3})D)?(?:T(\d{1,4})H)?")
_HOUR = timedelta(hours=1)


@dataclass(frozen=True)
class AirForecast:
    """What was forecast at one time.

    air_c : the mean of each whole day of the site's standard time that it covers [degC]
    """

    updated_at: datetime
    air_c: Mapping[date, float]


def read_grid_url(answer: Any) -> str:
    """Return where the grid of a place is, of what /points answers.

    Raises
    ------
    FeedAnswerError
        When it does not say so.
    """
    url = _get(_get(answer, "properties"), "forecastGridData")
    if not isinstance(url, str):
        raise FeedAnswerError(
            "no properties.forecastGridData in the answer; the service may not cover this place: "
            "check the site's latitude and longitude"
        )
    return url


def read_gridpoint(answer: Any, utc_offset_min: int, now: datetime) -> AirForecast:
    """Return the air temperature of a grid.

    Parameters
    ----------
    answer : JSON value
        Of /gridpoints. A null value, or one no air has had, leaves its hours out.
    utc_offset_min : int
        Of the site, local standard time: a day counts where all of its 24 hours are there.
    now : datetime
        UTC.

    Raises
    ------
    FeedAnswerError
        When it is of another form, too old, or holds no whole day.
    """
    properties = _get(answer, "properties")
    updated_at = _read_instant(_get(properties, "updateTime"), "updateTime")
    if now - updated_at > STALE:
        hours = int((now - updated_at) / _HOUR)
        raise FeedAnswerError(
            f"the forecast is of {updated_at:%Y-%m-%d %H:%M} UTC, {hours} hours old; "
            "the next fetch tries again"
        )
    layer = _get(properties, "temperature")
    unit = str(_get(layer, "uom")).removeprefix("wmoUnit:").removeprefix("unit:")
    values = _get(layer, "values")
    if unit not in _UNITS or not isinstance(values, list):
        raise FeedAnswerError(
            f"no temperature of unit degC or degF in the answer, but {show(_get(layer, 'uom'))}; "
            "the service may have changed its form"
        )
    hours_c: dict[date, dict[datetime, float]] = defaultdict(dict)
    for entry in values:
        value = _get(entry, "value")
        if not is_number(value):
            continue
        air_c = float(f_to_c(value)) if unit == "degF" else float(value)
        if COLDEST_C <= air_c <= WARMEST_C:
            for hour in _read_hours(_get(entry, "validTime")):
                hours_c[(hour + timedelta(minutes=utc_offset_min)).date()][hour] = air_c
    days = {day: sum(of.values()) / 24 for day, of in sorted(hours_c.items()) if len(of) == 24}
    if not days:
        raise FeedAnswerError(
            "the forecast holds no whole day of air temperature; the next fetch tries again"
        )
    return AirForecast(updated_at, days)


def _get(value: Any, key: str) -> Any:
    return value.get(key) if isinstance(value, dict) else None


def _read_instant(value: Any, name: str) -> datetime:
    try:
        instant = datetime.fromisoformat(value)
    except (TypeError, ValueError):
        instant = None
    if instant is None or instant.tzinfo is None:
        raise FeedAnswerError(
            f"{name} = {show(value)} is no time with its offset; "
            "the service may have changed its form"
        )
    return instant.astimezone(UTC)


def _read_hours(value: Any) -> Iterator[datetime]:
    """Give the beginnings of the hours of an interval: at most two weeks of them."""
    begin, _, duration = value.partition("/") if isinstance(value, str) else ("", "", "")
    found = _DURATION.fullmatch(duration)
    hours = 24 * int(found[1] or 0) + int(found[2] or 0) if found else 0
    if not 0 < hours <= 24 * 14:
        raise FeedAnswerError(
            f"validTime = {show(value)} is no interval of whole hours; "
            "the service may have changed its form"
        )
    first = _read_instant(begin, "validTime")
    for hour in range(hours):
        yield first + hour * _HOUR
