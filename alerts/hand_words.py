"""What is said to someone who has read a thermometer: noted, or what to write instead."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from babel.dates import format_skeleton
from babel.lists import format_list
from babel.numbers import format_decimal

from alerts.figures import locale_of, show_depths, show_error, show_temperature
from alerts.words import translations
from probes.units import Unit, from_c

Fault = Literal[
    "no temperature",
    "two temperatures",
    "no unit",
    "cannot be",
    "no depth",
    "other depth",
    "two depths",
    "no time",
    "two times",
    "no such time",
    "which day",
    "which time",
    "time twice",
    "time left out",
    "to come",
    "too late",
    "no thermometer",
    "which thermometer",
    "other words",
    "other value",
]

COMPARED_C = 0.5
"""Less than a thermometer's own error is no difference. Common practice, no source."""


class HandReadingError(ValueError):
    """A reading that is not taken.

    fault : why
    said : what was written that shows it
    known : what could be written instead: depths, names
    temp_c : of the reading, of "cannot be"; of the value that is kept, of "other value" [degC]
    unit : in which it was given
    """

    def __init__(
        self,
        fault: Fault,
        said: str = "",
        known: Sequence[str] = (),
        temp_c: float | None = None,
        unit: Unit = "C",
    ) -> None:
        super().__init__(fault)
        self.fault: Fault = fault
        self.said, self.known, self.temp_c = said, tuple(known), temp_c
        self.unit: Unit = unit


@dataclass(frozen=True)
class Beside:
    """A logger's reading beside one by hand.

    difference_c : the thermometer's less the logger's [degC]
    """

    logger: str
    depth_cm: float
    difference_c: float


@dataclass(frozen=True)
class Noted:
    """A reading by hand as it was taken.

    observed_at : with the offset of the place
    again : whether it had been noted before
    counts : whether the checks found nothing against it
    day_c, error_c : the value of its day, and its standard error; None: no reading of that day
        counts [degC]
    beside : loggers of the site at about that depth and time
    """

    thermometer: str
    depth_cm: float
    observed_at: datetime
    temp_c: float
    unit: Unit
    again: bool
    counts: bool
    day_c: float | None
    error_c: float | None
    beside: tuple[Beside, ...]


def refuse(refusal: HandReadingError, language: str) -> str:
    """Return why a reading is not taken and what to write instead."""
    _ = translations(language).gettext
    match refusal.fault:
        case "no temperature" if refusal.said:
            text = _("{said} is no temperature. Write it with its unit, like 61.5F or 16.4C.")
        case "no temperature":
            text = _("There is no temperature in it. Write it with its unit, like 61.5F or 16.4C.")
        case "two temperatures":
            text = _("It holds two temperatures, {said} is the second. Send one reading at a time.")
        case "no unit":
            text = _("{said} has no unit. Write {said}F or {said}C.")
        case "cannot be":
            text = _(
                "{temperature} cannot be the soil of a vineyard. Look at the thermometer again."
            )
            if refusal.known:
                text = _("{temperature} cannot be the soil of a vineyard. Did you mean {known}?")
        case "no depth":
            text = _("At which depth? Write one of these: {known}.")
        case "other depth":
            text = _("This thermometer is not read at {said}. Write one of these: {known}.")
        case "two depths":
            text = _("It holds two depths, {said} is the second. Send one reading at a time.")
        case "no time":
            text = _("{said} is no time. Write it like 2026-04-12 08:30.")
        case "two times":
            text = _("It holds two times, {said} is the second. Send one reading at a time.")
        case "no such time":
            text = _("{said} is no time of the day. Write it like 8:30 or 4:30 pm.")
        case "which day":
            text = _("{said} leaves the day open. Write it like 2026-04-12, or today or yesterday.")
        case "which time":
            text = _("At what time was that? Write it like 8:30.")
        case "time twice":
            text = _(
                "{said} happens twice where the clocks go back. Say which with its offset, like "
                "{known}."
            )
        case "time left out":
            text = _("{said} does not exist, the clocks go forward then. Look at the time again.")
        case "to come":
            text = _("{said} is still to come. Look at the day and the time again.")
        case "too late":
            text = _("{said} comes too late: readings before {known} are kept as daily means only.")
        case "no thermometer":
            text = _("There is no thermometer {said}. Write one of these: {known}.")
            if not refusal.known:
                text = _("There is no thermometer yet. Add one to the farm file.")
        case "which thermometer":
            text = _("Which thermometer? Write one of these: {known}.")
        case "other words":
            text = _("{said} is the name of no thermometer of yours. There are: {known}.")
        case "other value":
            text = _(
                "Another value is noted for that time, {temperature}. The first one is kept: take "
                "it back if it is wrong, then send yours again."
            )
    kept = refusal.temp_c
    return text.format(
        said=refusal.said,
        known=format_list(refusal.known, "or", locale_of(language)),
        temperature="" if kept is None else show_temperature(kept, refusal.unit, language),
    )


def confirm(noted: Noted, language: str) -> list[str]:
    """Return what was noted, what the day's value is taken to be, what loggers say beside it."""
    _ = translations(language).gettext
    text = _("Already noted: {temperature} at {depth}, {when}, {thermometer}.")
    if not noted.again:
        text = _("Noted: {temperature} at {depth}, {when}, {thermometer}.")
    taken = text.format(
        temperature=show_temperature(noted.temp_c, noted.unit, language),
        depth=show_depths([noted.depth_cm], language),
        when=show_time(noted.observed_at, language),
        thermometer=noted.thermometer,
    )
    return [taken, *_tell_day(noted, language), *_compare(noted, language)]


def _tell_day(noted: Noted, language: str) -> Iterator[str]:
    _ = translations(language).gettext
    if not noted.counts:
        yield _("It looks wrong and does not count until someone says that it is right.")
    if noted.day_c is None or noted.error_c is None:
        return
    yield _("The mean of that day is taken to be {temperature}, give or take {error}.").format(
        temperature=show_temperature(noted.day_c, noted.unit, language),
        error=show_error(noted.error_c, noted.unit, language),
    )


def _compare(noted: Noted, language: str) -> Iterator[str]:
    _ = translations(language).gettext
    for one in noted.beside:
        if abs(one.difference_c) < COMPARED_C:
            text = _("The logger {logger} at {depth} said the same.")
        elif one.difference_c > 0:
            text = _("That is {difference} warmer than the logger {logger} at {depth}.")
        else:
            text = _("That is {difference} colder than the logger {logger} at {depth}.")
        yield text.format(
            difference=show_error(abs(one.difference_c), noted.unit, language),
            logger=one.logger,
            depth=show_depths([one.depth_cm], language),
        )


def show_time(instant: datetime, language: str) -> str:
    """Return "12 April 2026, 08:30", of the clock that the instant carries."""
    locale = locale_of(language)
    return f"{format_skeleton('yMMMMd', instant, locale=locale)}, {instant:%H:%M}"


def write_temperature(temp_c: float, unit: Unit) -> str:
    """Return a temperature as it is written in a command or a text: "61.5F"."""
    return f"{format_decimal(from_c(temp_c, unit), '0.##', 'en')}{unit}"
