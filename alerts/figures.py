"""Dates, temperatures and depths as a reader sees them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from babel.dates import format_date, format_skeleton
from babel.lists import format_list
from babel.numbers import format_decimal

from alerts.notices import HandSource, Neighbour, NeighbourSource, Source, StationSource
from alerts.words import translations
from probes.units import Unit, delta_c_to_f, delta_f_to_c, from_c

_LOCALES = {"en": "en_001"}  # the day before the month: 4 October
_NEAR_DAYS = 183
_MET_WITHIN_C = delta_f_to_c(1e-6)
_HERE_KM, _LEVEL_M = 0.5, 0.5
"""Below these a distance or height difference rounds to none."""


def show_day(day: date, language: str, as_of: date, short: bool = False) -> str:
    """Return "4 October", or "4 Oct" where `short`.

    The year is added to a day more than half a year from `as_of`, so that a date without one
    always means the nearest; a season south of the equator has no calendar year to leave out.
    """
    locale = locale_of(language)
    if abs((day - as_of).days) > _NEAR_DAYS:
        return format_date(day, "medium" if short else "long", locale)
    return format_skeleton("MMMd" if short else "MMMMd", day, locale=locale)


def show_month(day: date, language: str) -> str:
    """Return "Oct 2025"."""
    return format_skeleton("yMMM", day, locale=locale_of(language))


def show_when(
    day: date, language: str, as_of: date, not_before: date | None = None, short: bool = False
) -> str:
    """Return "on 4 October", or "between 3 and 18 April" where it may have been earlier unseen."""
    _ = translations(language).gettext
    last = show_day(day, language, as_of, short)
    if not_before is None or not_before == day:
        return _("on {day}").format(day=last)
    same_month = (not_before.year, not_before.month) == (day.year, day.month)
    first = str(not_before.day) if same_month else show_day(not_before, language, as_of, short)
    return _("between {first} and {last}").format(first=first, last=last)


def show_temperature(temp_c: float, unit: Unit, language: str, limit_c: float | None = None) -> str:
    """Return "64.6 °F"; "just under 64 °F" where rounding hides the side of a limit it is on.

    Parameters
    ----------
    temp_c : float
        [degC]
    limit_c : float, optional
        The limit that the shown value must not seem to meet when it does not. [degC]
    """
    _ = translations(language).gettext
    shown = _figure(temp_c, unit, language)
    if limit_c is not None and abs(temp_c - limit_c) > _MET_WITHIN_C:
        limit = show_limit(limit_c, unit, language)
        if shown == _figure(limit_c, unit, language):
            beside = _("just under {limit}") if temp_c < limit_c else _("just over {limit}")
            return beside.format(limit=limit)
    return f"{shown} °{unit}"


def show_limit(limit_c: float, unit: Unit, language: str) -> str:
    """Return "64 °F", or "17.8 °C" where the limit is not a whole degree."""
    return f"{_figure(limit_c, unit, language, '0.#')} °{unit}"


def show_mean(days: int, language: str) -> str:
    """Return "five-day mean", or "7-day mean" where a rule set says so."""
    _ = translations(language).gettext
    return _("five-day mean") if days == 5 else _("{count}-day mean").format(count=days)


def show_error(error_c: float, unit: Unit, language: str) -> str:
    """Return "1.4 °F", never less than the first decimal shows."""
    error = delta_c_to_f(error_c) if unit == "F" else error_c
    return f"{format_decimal(max(error, 0.1), '0.0', locale_of(language))} °{unit}"


def show_difference(delta_c: float, unit: Unit, language: str) -> str:
    """Return "3.6 °F", or "less than 0.1 °F"; `delta_c` is positive [degC]."""
    delta = delta_c_to_f(delta_c) if unit == "F" else delta_c
    shown = f"{format_decimal(max(delta, 0.1), '0.0', locale_of(language))} °{unit}"
    _ = translations(language).gettext
    return shown if delta >= 0.1 else _("less than {difference}").format(difference=shown)


def show_chance(chance: float, language: str) -> str:
    """Return "86 %", never all or nothing."""
    share = min(max(chance, 0.01), 0.99)
    return f"{format_decimal(100 * share, '0', locale_of(language))} %"


def show_depths(depths_cm: Sequence[float], language: str) -> str:
    """Return "15, 30 and 45 cm"."""
    shown = [format_decimal(depth, "0.#", locale_of(language)) for depth in depths_cm]
    return f"{show_list(shown, language)} cm"


def show_interval(top_cm: float, bottom_cm: float, language: str) -> str:
    """Return "15-45 cm"."""
    top, bottom = (format_decimal(d, "0.#", locale_of(language)) for d in (top_cm, bottom_cm))
    return f"{top}-{bottom} cm"


def show_source(source: Source, language: str) -> str:
    """Return "the station Low Bench, 12 km away, 140 m higher", "hand readings with Terrace"."""
    _ = translations(language).gettext
    locale = locale_of(language)
    match source:
        case HandSource(names):
            shown = format_list(names, locale=locale)
            return _("hand readings with {thermometers}").format(thermometers=shown)
        case NeighbourSource(neighbours):
            shown = show_neighbours(neighbours, language)
            return _("borrowed from {neighbours}").format(neighbours=shown)
        case StationSource(name, distance_km):
            distance = format_decimal(distance_km, "#,##0", locale)
            text = _("the station {name}, {distance} km away").format(name=name, distance=distance)
            if distance_km < _HERE_KM:
                text = _("the station {name}").format(name=name)
            height = _show_height(source, language)
            return f"{text}, {height}" if height else text


def show_sources(sources: Sequence[Source], language: str) -> str:
    """Return the stations, thermometers and neighbours as one phrase."""
    return show_list([show_source(one, language) for one in sources], language)


def show_neighbours(neighbours: Sequence[Neighbour], language: str) -> str:
    """Return "River Row (3 km, 40 m higher) and the station Low Bench (12 km)"."""
    return show_list([_show_neighbour(one, language) for one in neighbours], language)


def _show_neighbour(one: Neighbour, language: str) -> str:
    _ = translations(language).gettext
    name = _("the station {name}").format(name=one.name) if one.is_station else one.name
    where = [_show_height(one, language)]
    if one.distance_km >= _HERE_KM:
        where.insert(0, f"{format_decimal(one.distance_km, '#,##0', locale_of(language))} km")
    shown = ", ".join(part for part in where if part)
    return f"{name} ({shown})" if shown else name


def _show_height(one: StationSource | Neighbour, language: str) -> str:
    """Return "140 m higher"; nothing where it is as high, or that is not known."""
    if one.higher_m is None or abs(one.higher_m) < _LEVEL_M:
        return ""
    _ = translations(language).gettext
    text = _("{height} m higher") if one.higher_m > 0 else _("{height} m lower")
    height = format_decimal(abs(one.higher_m), "#,##0", locale_of(language))
    return text.format(height=height)


def show_list(items: Sequence[str], language: str) -> str:
    """Return "River Row, Long Acre and Barn Flat"."""
    return format_list(items, locale=locale_of(language))


def _figure(temp_c: float, unit: Unit, language: str, pattern: str = "0.0") -> str:
    return format_decimal(from_c(temp_c, unit), pattern, locale_of(language))


def locale_of(language: str) -> str:
    """Return the locale of a language: the day stands before the month."""
    return _LOCALES.get(language, language)
