"""OGC SensorThings API 1.1 [OGC-STA]: what a server answers about a datastream.

The standard knows no depth: which datastream lies how deep is for the farm file to say. What it
leaves open, servers fill in their own ways: an id is a number or text, a time an instant or an
interval, a result a number or text, and a link to the next page may be anything.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from math import nan
from typing import Any
from urllib.parse import SplitResult, quote, unquote, urljoin, urlsplit

from probes.feeds.answers import EARLIEST, Record, check_instant, show, to_temperature
from probes.feeds.contract import FeedAnswerError
from probes.units import Unit, to_c

DEFINITIONS: Mapping[str, Unit] = {  # QUDT's old and new addresses, from memory but for the first
    "qudt.org/qudt/owl/1.0.0/unit/Instances.html#DegreeCelsius": "C",
    "qudt.org/qudt/owl/1.0.0/unit/Instances.html#DegreeFahrenheit": "F",
    "qudt.org/vocab/unit/DEG_C": "C",
    "qudt.org/vocab/unit/DEG_F": "F",
    "qudt.org/vocab/unit#DegreeCelsius": "C",
    "qudt.org/vocab/unit#DegreeFahrenheit": "F",
}
PORTS = {"http": 80, "https": 443}
SYMBOLS: Mapping[str, Unit] = {  # Cel and [degF] are UCUM's; its C and F are no temperatures
    **dict.fromkeys(("degC", "°C", "Cel"), "C"),
    **dict.fromkeys(("degF", "°F", "[degF]"), "F"),
}


@dataclass(frozen=True)
class Observation:
    """One observation of a page.

    key : its @iot.id, or all of it where the server gives none
    begins_at : its instant, or the BEGINNING of its interval; None where its time is unreadable
    record : what it says; its time is the END of an interval
    """

    key: str
    begins_at: datetime | None
    record: Record


@dataclass(frozen=True)
class Page:
    """One page of observations, as they came, and where the server says that more are."""

    observations: tuple[Observation, ...]
    next_url: str | None


def datastream_path(datastream: str) -> str:
    """Return the path of a datastream below the root of the service, ready for a URL.

    An id of digits is a number, unless it is written in quotes: "12" and "'12'" are two ids.
    """
    if datastream.isascii() and datastream.isdecimal():
        return f"Datastreams({datastream})"
    in_quotes = len(datastream) > 1 and datastream[0] == datastream[-1] == "'"
    text = datastream[1:-1] if in_quotes else datastream
    return "Datastreams('{}')".format(quote(text.replace("'", "''"), safe="'"))


def read_unit(datastream: Any) -> Unit:
    """Return the unit of a datastream's results: by its definition, else by its symbol.

    Raises
    ------
    FeedAnswerError
        When neither is known, or they say different things.
    """
    unit = datastream.get("unitOfMeasurement") if isinstance(datastream, dict) else None
    if not isinstance(unit, dict):
        raise FeedAnswerError(f"no unitOfMeasurement in {show(datastream)}")
    definition, symbol = (str(unit.get(key) or "").strip() for key in ("definition", "symbol"))
    by_definition = DEFINITIONS.get(
        definition.partition("://")[2].removeprefix("www.").removesuffix("/")
    )
    by_symbol = SYMBOLS.get(unicodedata.normalize("NFKC", symbol))
    if by_definition and by_symbol and by_definition != by_symbol:
        raise FeedAnswerError(
            f"unit with symbol '{symbol}' but definition '{definition}': they contradict each "
            "other; ask who runs the server"
        )
    known = by_definition or by_symbol
    if known is None:
        raise FeedAnswerError(
            f"unit with symbol '{symbol}' and definition '{definition}' is not known to be °C or "
            "°F; check that the datastream is a temperature, and ask who runs the server"
        )
    return known


def read_page(answer: Any, url: str, unit: Unit) -> Page:
    """Return the observations of an answer, and the absolute address of the next page.

    Parameters
    ----------
    answer : what the JSON holds
    url : str
        Where it came from; a link in it may be relative.
    unit : {"C", "F"}

    Raises
    ------
    FeedAnswerError
        When it is no page of observations: an error in the guise of an answer.
    """
    rows = answer.get("value") if isinstance(answer, dict) else None
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise FeedAnswerError(f"no page of observations but {show(answer)}")
    link = answer.get("@iot.nextLink")
    if link is not None and not isinstance(link, str):
        raise FeedAnswerError(f"@iot.nextLink is {show(link)}, no address")
    try:
        next_url = urljoin(url, link) if link else None
    except ValueError:
        raise FeedAnswerError(f"@iot.nextLink is {show(link)}, no address") from None
    observations = tuple(_read_observation(number, row, unit) for number, row in enumerate(rows, 1))
    return Page(observations, next_url)


def check_next(url: str, next_url: str) -> None:
    """Refuse a next page of another server or of another resource than the page it follows.

    Another server may be anyone's, inside this network too. Another resource holds observations
    of other datastreams: some servers drop the datastream from the link
    (mozilla-sensorweb/sensorthings, issue 244).

    Raises
    ------
    FeedAnswerError
    """
    here, there = urlsplit(url), urlsplit(next_url)
    if _origin(here) != _origin(there):
        raise FeedAnswerError(f"the next page lies on another server: {next_url}")
    if unquote(here.path) != unquote(there.path):
        raise FeedAnswerError(f"the next page is of something else than {url}: {next_url}")


def _origin(parts: SplitResult) -> tuple[str, str | None, int | None]:
    return parts.scheme, parts.hostname, parts.port or PORTS.get(parts.scheme)


def _read_observation(number: int, row: dict[str, Any], unit: Unit) -> Observation:
    key, text = json.dumps(row.get("@iot.id", row), sort_keys=True), show(row)
    begins_at = None
    try:
        begins_at, observed_at = _read_time(row.get("phenomenonTime"))
        soil_temp_c = to_c(to_temperature(row.get("result")), unit)
    except ValueError as error:
        return Observation(key, begins_at, Record(number, text, EARLIEST, nan, str(error)))
    return Observation(key, begins_at, Record(number, text, observed_at, soil_temp_c, None))


def _read_time(text: Any) -> tuple[datetime, datetime]:
    """Return beginning and end of an instant or of an interval "begin/end"."""
    begin, *ends = str(text).split("/")
    try:
        (end,) = ends or [begin]
        begins_at, ends_at = (datetime.fromisoformat(part.strip()) for part in (begin, end))
    except ValueError:
        raise ValueError(
            f"phenomenonTime {show(text)} is neither an instant nor an interval"
        ) from None
    if begins_at.tzinfo is None or ends_at.tzinfo is None:
        raise ValueError(f"phenomenonTime {show(text)} states no zone")
    check_instant(begins_at)
    check_instant(ends_at)
    if begins_at > ends_at:
        raise ValueError(f"phenomenonTime {show(text)} ends before it begins")
    return begins_at.astimezone(UTC), ends_at.astimezone(UTC)
