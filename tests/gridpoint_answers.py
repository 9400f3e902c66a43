"""Answers of the forecast service, made by hand in the form that [NWS-GRIDPOINT] documents."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

WEST_MIN = -8 * 60
UPDATED_AT = datetime(2026, 4, 20, 2, 10, 49, tzinfo=UTC)  # the evening of 19 April there
FIRST_DAY = date(2026, 4, 20)


def point(address: str) -> dict[str, Any]:
    """Return what a place answers."""
    grid_url = f"{address}/gridpoints/XXX/36,73"
    return {
        "properties": {
            "gridId": "XXX",
            "gridX": 36,
            "gridY": 73,
            "forecast": f"{grid_url}/forecast",
            "forecastHourly": f"{grid_url}/forecast/hourly",
            "forecastGridData": grid_url,
            "timeZone": "America/Los_Angeles",
        }
    }


def grid(updated_at: datetime = UPDATED_AT, first_c: float = 11.5) -> dict[str, Any]:
    """Return 7 whole days at UTC-08:00 and parts of two: each day 1 degC warmer than the last.

    Of a day the first half is 5 degC colder than its mean, the second 5 degC warmer.
    """
    begin = updated_at.replace(minute=0, second=0) + timedelta(hours=1)
    local = begin + timedelta(minutes=WEST_MIN)
    midnight = begin + timedelta(hours=24 - local.hour)  # of the first whole day
    values = [_value(begin, 24 - local.hour, first_c)]
    for day in range(8):
        of_day = midnight + timedelta(days=day)
        values.append(_value(of_day, 12, first_c + day - 5))
        for hour in range(12, 24 if day < 7 else 15):
            values.append(_value(of_day + timedelta(hours=hour), 1, first_c + day + 5))
    return {
        "properties": {
            "updateTime": updated_at.isoformat(),
            "validTimes": f"{begin.isoformat()}/P8DT20H",
            "elevation": {"unitCode": "wmoUnit:m", "value": 152.4},
            "temperature": {"uom": "wmoUnit:degC", "values": values},
            "relativeHumidity": {"uom": "wmoUnit:percent", "values": []},
        }
    }


def _value(begin: datetime, hours: int, air_c: float) -> dict[str, Any]:
    return {"validTime": f"{begin.isoformat()}/PT{hours}H", "value": air_c}
