"""The forecast of a grid cell, in the form that [NWS-GRIDPOINT] documents, and otherwise."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from probes.feeds.contract import FeedAnswerError
from probes.feeds.gridpoint import read_grid_url, read_gridpoint
from tests.gridpoint_answers import FIRST_DAY, UPDATED_AT, WEST_MIN, grid, point

NOW = UPDATED_AT + timedelta(hours=2)
GRID = grid()


def read(answer: Any = GRID, offset_min: int = WEST_MIN, now: datetime = NOW) -> dict[date, float]:
    return dict(read_gridpoint(answer, offset_min, now).air_c)


def with_values(*values: dict[str, Any], uom: str = "wmoUnit:degC") -> dict[str, Any]:
    return {
        "properties": {
            "updateTime": "2026-04-20T02:10:49+00:00",
            "temperature": {"uom": uom, "values": list(values)},
        }
    }


def test_whole_days_of_the_site_have_a_mean_however_hours_are_merged() -> None:
    found = read_gridpoint(GRID, WEST_MIN, NOW)
    assert found.updated_at == datetime(2026, 4, 20, 2, 10, 49, tzinfo=UTC)
    # by hand: begun at 19:00 of 19 April there, its last day is cut off; each day is 1 °C warmer
    assert found.air_c == {
        FIRST_DAY + timedelta(days=day): pytest.approx(11.5 + day) for day in range(7)
    }


def test_where_a_day_begins_is_the_sites() -> None:
    values = {"validTime": "2026-04-20T06:00:00+00:00/P1D", "value": 10.0}
    assert read(with_values(values), offset_min=-6 * 60) == {date(2026, 4, 20): 10.0}  # by hand
    with pytest.raises(FeedAnswerError, match="no whole day"):
        read(with_values(values), offset_min=-7 * 60)


def test_fahrenheit_is_converted() -> None:
    values = {"validTime": "2026-04-20T00:00:00+00:00/P1D", "value": 50.0}
    read_c = read(with_values(values, uom="wmoUnit:degF"), offset_min=0)
    assert read_c == {date(2026, 4, 20): pytest.approx(10.0)}  # by hand: (50 - 32) / 1.8


@pytest.mark.parametrize("value", [None, 4321.0, True, "mild"])
def test_an_hour_without_a_temperature_leaves_its_day_out(value: object) -> None:
    answer = with_values(
        {"validTime": "2026-04-20T00:00:00+00:00/PT23H", "value": 10.0},
        {"validTime": "2026-04-20T23:00:00+00:00/PT1H", "value": value},
        {"validTime": "2026-04-21T00:00:00+00:00/P1DT0H", "value": 12.0},
    )
    assert read(answer, offset_min=0) == {date(2026, 4, 21): 12.0}


WRONG = {
    "a list": ([], "updateTime = null"),
    "a problem": ({"title": "Unexpected Problem", "status": 500}, "updateTime = null"),
    "a time without offset": ({"properties": {"updateTime": "2026-04-20T02:10:49"}}, "updateTime"),
    "kelvin": (with_values(uom="wmoUnit:K"), "but 'wmoUnit:K'|wmoUnit:K"),
    "no values": (
        {"properties": {"updateTime": "2026-04-20T02:00:00Z", "temperature": {}}},
        "no temperature",
    ),
    "an empty layer": (with_values(), "no whole day"),
    "minutes": (with_values({"validTime": "2026-04-20T00:00:00Z/PT30M", "value": 1}), "validTime"),
    "no duration": (with_values({"validTime": "2026-04-20T00:00:00Z", "value": 1}), "validTime"),
    "no end": (with_values({"validTime": "2026-04-20T00:00:00Z/P999D", "value": 1}), "validTime"),
    "a number": (with_values({"validTime": 7, "value": 1}), "validTime"),
}


@pytest.mark.parametrize(("answer", "says"), WRONG.values(), ids=WRONG)
def test_another_form_says_what_is_not_as_it_should_be(answer: Any, says: str) -> None:
    with pytest.raises(FeedAnswerError, match=says):
        read(answer)


def test_a_grid_of_days_ago_is_refused_with_its_age() -> None:
    with pytest.raises(FeedAnswerError, match="88 hours old"):
        read(now=UPDATED_AT + timedelta(hours=88))


def test_the_grid_of_a_place_is_where_its_point_says() -> None:
    url = read_grid_url(point("https://grid.example"))
    assert url == "https://grid.example/gridpoints/XXX/36,73"
    with pytest.raises(FeedAnswerError, match="latitude and longitude"):
        read_grid_url({"title": "Data Unavailable For Requested Point"})
