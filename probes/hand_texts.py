"""What a short text says of a reading by hand: "soil 30cm 61.5F 8:30 terrace", also in Spanish.

Its parts may stand in any order. What a number is shows by what stands beside it; nothing is
guessed from its size.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from datetime import date, time
from typing import Literal

from probes.units import Unit

CM_PER_INCH = 2.54
LONGEST = 200
"""Characters; a text of one or two parts, and no more, is read."""

Fault = Literal[
    "no temperature",
    "two temperatures",
    "no depth",
    "two depths",
    "two times",
    "no such time",
    "which day",
]

_NUMBER = r"[-+]?\d+(?:[.,]\d+)?"
_HALF = r"(?:\s*(?P<half>a\.?\s?m\b\.?|p\.?\s?m\b\.?|de la (?:manana|tarde|noche)\b))"
_DAY = re.compile(r"\b(\d{4}-\d{1,2}-\d{1,2})\b|\b(today|hoy)\b|\b(yesterday|ayer)\b")
_UNCLEAR_DAY = re.compile(r"\b\d{1,2}/\d{1,2}(?:/\d{2,4})?\b")
_TIME = re.compile(
    r"(?<![\d.,])(?P<hour>\d{1,2})"
    rf"(?:[:h](?P<minute>\d\d){_HALF}?|{_HALF.replace('half', 'sharp')})(?![\d:])"
)
_DEPTH = re.compile(
    r"(?P<number>\d+(?:[.,]\d+)?)\s*"
    r"(?:(?P<cm>cm\b|centi?met(?:er|re|ro)s?\b)|(?:in\b|inch(?:es)?\b|\"|''|pulg(?:adas?)?\b))"
)
_TEMPERATURE = re.compile(
    rf"(?<![\w.,])(?P<number>{_NUMBER})\s*(?:°|deg(?:rees?)?\b|grados?\b)?\s*"
    r"(?P<unit>f(?:ahrenheit)?\b|c(?:elsius|entigrados?)?\b)?"
)
_FILLING = {
    *("soil", "ground", "temp", "temperature", "reading", "depth", "deep"),
    *("suelo", "tierra", "temperatura", "lectura", "profundidad"),
    *("at", "on", "in", "the", "and"),
    *("a", "la", "las", "el", "los", "en", "de", "del", "al", "y"),
}


class HandTextError(ValueError):
    """A text that says no reading; `fault` is what is wrong, `part` where it shows."""

    def __init__(self, fault: Fault, part: str = "") -> None:
        super().__init__(f"{fault}: {part}" if part else fault)
        self.fault: Fault = fault
        self.part = part


@dataclass(frozen=True)
class HandText:
    """What a text says.

    temperature : in `unit`; None: in the thermometer's own
    depth_cm : None: not said
    clock : of the place; None: now
    day : a day that is named; None: `days_ago` from today
    name : the words that are left, lower case without accents: of a thermometer or a place
    """

    temperature: float
    unit: Unit | None
    depth_cm: float | None
    clock: time | None
    day: date | None
    days_ago: int
    name: str


def parse_hand_text(text: str) -> HandText:
    """Return what a text says of one reading.

    Parameters
    ----------
    text : str
        In English or Spanish, such as "soil 30cm 61.5F 8:30 terrace" or "suelo 30 cm 16,4 C ayer
        a las 8:30". Depths in cm or inches, a decimal point or comma; where several numbers could
        be the temperature it is the one with a unit.

    Raises
    ------
    HandTextError
        When it says no temperature, two of something, or a day or time that cannot be.
    """
    rest = _plain(text[:LONGEST])
    day, days_ago, rest = _take_day(rest)
    clock, rest = _take_time(rest)
    depth_cm, rest = _take_depth(rest)
    temperature, unit, rest = _take_temperature(rest)
    words = (word.strip("-") for word in re.findall(r"[\w-]+", rest))
    name = " ".join(word for word in words if word and word not in _FILLING)
    return HandText(temperature, unit, depth_cm, clock, day, days_ago, name)


def parse_temperature(text: str) -> tuple[float, Unit | None]:
    """Return a temperature and its unit, None where it says none: "61.5F", "16,4 °C", "61.5".

    Raises
    ------
    HandTextError
        When it is no temperature.
    """
    found = _TEMPERATURE.fullmatch(_plain(text))
    if found is None:
        raise HandTextError("no temperature", text.strip())
    return _number(found["number"]), _unit(found)


def parse_depth_cm(text: str) -> float:
    """Return a depth, in cm where it has no unit: "30", "30 cm", "12in". [cm]

    Raises
    ------
    HandTextError
        When it is no depth.
    """
    plain = _plain(text)
    depth_cm, rest = _take_depth(plain if re.search(r"\D$", plain) else f"{plain} cm")
    if depth_cm is None or rest.strip():
        raise HandTextError("no depth", text.strip())
    return depth_cm


def _plain(text: str) -> str:
    """Return a text in lower case without accents."""
    letters = unicodedata.normalize(
        "NFKD", text.replace("º", "°").replace("\N{MINUS SIGN}", "-")
    ).casefold()
    return "".join(one for one in letters if not unicodedata.combining(one)).strip()


def _take_day(text: str) -> tuple[date | None, int, str]:
    unclear = _UNCLEAR_DAY.search(text)
    days = list(_DAY.finditer(text))
    if unclear or len(days) > 1:
        raise HandTextError("which day", unclear[0] if unclear else days[1][0])
    if not days:
        return None, 0, text
    (found,) = days
    rest = text[: found.start()] + " " + text[found.end() :]
    if found[1] is None:
        return None, 1 if found[3] else 0, rest
    try:
        year, month, day = map(int, found[1].split("-"))
        return date(year, month, day), 0, rest
    except ValueError:
        raise HandTextError("which day", found[0]) from None


def _take_time(text: str) -> tuple[time | None, str]:
    times = list(_TIME.finditer(text))
    if len(times) > 1:
        raise HandTextError("two times", times[1][0].strip())
    if not times:
        return None, text
    (found,) = times
    hour, minute = int(found["hour"]), int(found["minute"] or 0)
    half = re.sub(r"[.\s]", "", found["half"] or found["sharp"] or "")
    if half:
        if not 1 <= hour <= 12:
            raise HandTextError("no such time", found[0].strip())
        hour = hour % 12 + (0 if half in ("am", "delamanana") else 12)
    if hour > 23 or minute > 59:
        raise HandTextError("no such time", found[0].strip())
    return time(hour, minute), text[: found.start()] + " " + text[found.end() :]


def _take_depth(text: str) -> tuple[float | None, str]:
    depths = list(_DEPTH.finditer(text))
    if len(depths) > 1:
        raise HandTextError("two depths", depths[1][0])
    if not depths:
        return None, text
    (found,) = depths
    depth = _number(found["number"])
    rest = text[: found.start()] + " " + text[found.end() :]
    return depth if found["cm"] else depth * CM_PER_INCH, rest


def _take_temperature(text: str) -> tuple[float, Unit | None, str]:
    numbers = list(_TEMPERATURE.finditer(text))
    with_unit = [one for one in numbers if one["unit"]]
    found = with_unit or numbers
    if not found:
        raise HandTextError("no temperature")
    if len(found) > 1:
        raise HandTextError("two temperatures", found[1][0].strip())
    (one,) = found
    return _number(one["number"]), _unit(one), text[: one.start()] + " " + text[one.end() :]


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def _unit(found: re.Match[str]) -> Unit | None:
    if not found["unit"]:
        return None
    return "F" if found["unit"].startswith("f") else "C"
