"""What the header of the stamps and the lines above the rows say of the clock."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from zoneinfo import available_timezones

from probes.clock import format_offset
from probes.logger_lines import shown
from probes.proposing.proposal import FOUND, LIKELY, Certainty

NAMED_H = {
    "EST": -5,
    "CST": -6,
    "MST": -7,
    "PST": -8,
    "EDT": -4,
    "CDT": -5,
    "MDT": -6,
    "PDT": -7,
}
"""Hours east of Greenwich of the names in [RFC-5322]; others mean several clocks."""

_LABEL = r"time ?zone|(?:utc|gmt) ?offset|zona horaria|huso horario|zeitzone|fuseau(?: horaire)?"
_SIZE = r" ?(?P<hours>\d\d?)(?::?(?P<minutes>[0-5]\d))?(?![\d:])"
_LABELLED = re.compile(rf"(?:{_LABEL})[^\d+-]{{0,12}}(?P<sign>[+-]?){_SIZE}", re.IGNORECASE)
_OFFSET = re.compile(rf"\b(?:UTC|GMT)\b(?: ?(?P<sign>[+-]){_SIZE})?(?! ?[+-]?\d)", re.IGNORECASE)
_ZONE = re.compile(r"\b[A-Z]\w+(?:/[\w+-]+){1,2}")
_NAMED = re.compile(rf"\b(?:{'|'.join(NAMED_H)})\b")
_SPEAKS = re.compile(
    rf"{_LABEL}|\butc\b|\bgmt\b|\bdst\b|daylight|summer ?time|(?:standard|local) time"
    r"|horario de (?:verano|invierno)|hora (?:local|oficial)|heure (?:d.été|locale)"
    r"|(?:sommer|winter)zeit",
    re.IGNORECASE,
)
_OF_ANOTHER_TIME = re.compile(r"\d\d?:\d\d(?::\d\d)?\s*(?:UTC|GMT|Z|[A-Z]{3,4})\b.*")
MOST_HOURS = 14
SHOWN = 60  # characters of a line


@dataclass(frozen=True)
class Said:
    """A clock that a text names, where that stands, and how sure it is that it means the rows."""

    clock: str
    where: str
    certainty: Certainty


def find_said(names: Sequence[str], above: Sequence[str]) -> list[Said]:
    """Return the clocks that a file names, each once, the surest first.

    Parameters
    ----------
    names : sequence of str
        Headers of the columns of the stamps.
    above : sequence of str
        The other lines above the rows. Where they give a time, as of an export, its zone is of it.
    """
    header = " ".join(names)
    said = [Said(clock, f"header '{header}'", FOUND) for clock in _stated(header)]
    said += [Said(clock, f"header '{header}'", LIKELY) for clock in _named(header)]
    for line in above:
        where = f"line '{shown(line.strip()[:SHOWN])}' above the rows"
        text = _OF_ANOTHER_TIME.sub("", line)
        clocks = [*_stated(text), *(_named(text) if re.search(_LABEL, text, re.I) else ())]
        said += [Said(clock, where, LIKELY) for clock in clocks]
    return [one for place, one in enumerate(said) if one.clock not in _clocks(said[:place])]


def find_spoken(above: Sequence[str]) -> str:
    """Return the first line above the rows that speaks of the clock, or ""."""
    spoken = (line.strip() for line in above if _SPEAKS.search(line))
    return shown(next(spoken, "")[:SHOWN])


def _clocks(said: Sequence[Said]) -> list[str]:
    return [one.clock for one in said]


def _stated(text: str) -> Iterator[str]:
    """Yield the zones of a text, or else its offsets: "UTC-08:00" for "GMT-8"."""
    text = text.replace("\u2212", "-")  # the sign that typesetters write
    zones = [zone for zone in _ZONE.findall(text) if zone in available_timezones()]
    yield from zones
    found = [] if zones else [*_LABELLED.finditer(text)] or [*_OFFSET.finditer(text)]
    for one in found:
        minutes = int(one["hours"] or 0) * 60 + int(one["minutes"] or 0)
        if minutes <= MOST_HOURS * 60:
            yield _offset(-minutes if one["sign"] == "-" else minutes)


def _named(text: str) -> Iterator[str]:
    return (_offset(NAMED_H[name] * 60) for name in _NAMED.findall(text))


def _offset(minutes: int) -> str:
    return format_offset(minutes) if minutes else "UTC"
