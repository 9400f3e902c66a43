"""Dates, temperatures and depths are shown so that nobody reads them wrongly."""

from __future__ import annotations

from datetime import date

import pytest

from alerts.figures import (
    show_day,
    show_depths,
    show_interval,
    show_sources,
    show_temperature,
    show_when,
)
from alerts.notices import StationSource
from probes.units import Unit, f_to_c

AS_OF = date(2025, 10, 10)


@pytest.mark.parametrize(
    ("temp_f", "limit_f", "unit", "language", "shown"),
    [
        pytest.param(64.6, 64.0, "F", "en", "64.6 °F", id="well above"),
        pytest.param(64.0, 64.0, "F", "en", "64.0 °F", id="at the limit"),
        pytest.param(63.96, 64.0, "F", "en", "just under 64 °F", id="rounds up to it"),
        pytest.param(63.94, 64.0, "F", "en", "63.9 °F", id="rounds down"),
        pytest.param(86.04, 86.0, "F", "en", "just over 86 °F", id="rounds down to it"),
        pytest.param(63.9999995, 64.0, "F", "en", "64.0 °F", id="met within the tolerance"),
        pytest.param(63.96, None, "F", "en", "64.0 °F", id="no limit"),
        pytest.param(63.96, 64.0, "C", "en", "just under 17.8 °C", id="celsius"),
        pytest.param(63.96, 64.0, "C", "es", "apenas por debajo de 17,8 °C", id="spanish"),
        pytest.param(64.6, 64.0, "C", "es", "18,1 °C", id="decimal comma"),
    ],
)
def test_a_shown_temperature_never_contradicts_its_limit(
    temp_f: float, limit_f: float | None, unit: Unit, language: str, shown: str
) -> None:
    limit_c = None if limit_f is None else f_to_c(limit_f)
    assert show_temperature(f_to_c(temp_f), unit, language, limit_c) == shown


@pytest.mark.parametrize(
    ("day", "language", "short", "shown"),
    [
        (date(2025, 10, 4), "en", False, "4 October"),
        (date(2025, 10, 4), "es", False, "4 de octubre"),
        (date(2025, 10, 4), "en", True, "4 Oct"),
        (date(2025, 10, 4), "es", True, "4 oct"),
        (date(2026, 1, 3), "en", False, "3 January"),
        (date(2024, 10, 4), "en", False, "4 October 2024"),
        (date(2024, 10, 4), "es", False, "4 de octubre de 2024"),
        (date(2024, 10, 4), "en", True, "4 Oct 2024"),
    ],
)
def test_a_day_has_its_year_only_where_another_year_is_nearer(
    day: date, language: str, short: bool, shown: str
) -> None:
    assert show_day(day, language, AS_OF, short) == shown


@pytest.mark.parametrize(
    ("not_before", "language", "shown"),
    [
        (date(2025, 10, 18), "en", "on 18 October"),
        (date(2025, 10, 3), "en", "between 3 and 18 October"),
        (date(2025, 9, 28), "en", "between 28 September and 18 October"),
        (date(2025, 10, 3), "es", "entre el 3 y el 18 de octubre"),
        (date(2025, 9, 28), "es", "entre el 28 de septiembre y el 18 de octubre"),
    ],
)
def test_an_unseen_day_is_shown_between_two(not_before: date, language: str, shown: str) -> None:
    assert show_when(date(2025, 10, 18), language, AS_OF, not_before) == shown


def test_the_same_month_of_two_years_is_named_twice() -> None:
    shown = show_when(date(2025, 10, 3), "en", AS_OF, date(2024, 10, 28))
    assert shown == "between 28 October 2024 and 3 October"


def test_depths_are_listed_as_the_language_does() -> None:
    assert show_depths([15.0, 30.0, 45.0], "es") == "15, 30 y 45 cm"
    assert show_depths([5.08], "es") == "5,1 cm"
    assert show_interval(15.0, 45.0, "en") == "15-45 cm"


@pytest.mark.parametrize(
    ("language", "distance_km", "higher_m", "shown"),
    [
        ("en", 12.3, 140.4, "the station Low Bench, 12 km away, 140 m higher"),
        ("en", 1234.0, -60.0, "the station Low Bench, 1,234 km away, 60 m lower"),
        ("en", 12.3, None, "the station Low Bench, 12 km away"),
        ("en", 12.3, 0.4, "the station Low Bench, 12 km away"),
        ("en", 0.1, 30.0, "the station Low Bench, 30 m higher"),
        ("es", 12.3, 140.4, "la estación Low Bench, a 12 km, 140 m más arriba"),
    ],
)
def test_a_station_is_shown_with_its_distance_and_height(
    language: str, distance_km: float, higher_m: float | None, shown: str
) -> None:
    assert show_sources([StationSource("Low Bench", distance_km, higher_m)], language) == shown


def test_two_stations_are_one_phrase() -> None:
    stations = [StationSource("Low Bench", 12.3, None), StationSource("Ridge", 0.0, None)]
    assert show_sources(stations, "en") == (
        "the station Low Bench, 12 km away and the station Ridge"
    )
