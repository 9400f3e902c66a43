"""The government snow-and-soil network's REST API [AWDB-REST]: what it answers about a station.

Depths are inches, negative below ground; temperatures are degF as stored; stamps are local by a
fixed offset that only the station's own entry states, and sometimes does not. An answer of []
is no error but "nothing found".
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import count
from math import isnan, nan
from typing import Any

from probes.clock import format_offset
from probes.feeds.answers import (
    EARLIEST,
    Record,
    check_instant,
    is_number,
    join_records,
    show,
    to_temperature,
)
from probes.feeds.contract import FeedAnswerError, FeedReadings
from probes.units import Unit, to_c

EVERY_INSTANT = "STO:*:*"  # bare codes would leave out deeper sensors and replicates
ELEMENTS = frozenset(("STO", "STV"))  # at the instant, mean of the hour; extremes are no readings
UNITS: Mapping[str, Unit] = {"degF": "F", "degC": "C"}
CM_PER_INCH = 2.54
MEASURED = frozenset(("V", "N", "E", "C"))  # valid, no profile, edited, bias-corrected
NOT_MEASURED = {  # quality-control flags as the network's report preambles explain them
    "B": "a back estimate",
    "K": "an estimate",
    "X": "an estimate from elsewhere",
}
SUSPECT = "S"  # measured, but not believed


@dataclass(frozen=True)
class Element:
    """A sensor of a station, as requests and channels name it: "STO:-2:1".

    depth_in : [inch], negative below ground
    ordinal : tells replicates at one depth apart
    """

    code: str
    depth_in: float
    ordinal: int

    @property
    def name(self) -> str:
        """Its name in full, as channels have it."""
        return f"{self.code}:{self.depth_in:g}:{self.ordinal}"

    @property
    def depth_cm(self) -> float:
        """Its depth below ground."""
        return -self.depth_in * CM_PER_INCH


def check_element(text: str) -> str:
    """Return what may be asked for: "STO:-2:1", or "*" for any depth or any sensor at a depth.

    Raises
    ------
    ValueError
        When it is something else, with what to write instead.
    """
    code, *parts = text.split(":")
    depth_and_ordinal = r"(?:\*|-\d+):(?:\*|\d+)"
    if code in ELEMENTS and re.fullmatch(depth_and_ordinal, ":".join(parts), re.ASCII):
        return text
    raise ValueError(
        "is no soil temperature of this network; write STO (at the instant) or STV (mean of the "
        f'hour), inches below ground and the number of the sensor: "STO:-2:1" or "{EVERY_INSTANT}"'
    )


def read_offset_min(answer: Any, triplet: str) -> int | None:
    """Return the clock of a station by a `stations` answer: minutes east of Greenwich.

    None where the network does not say.

    Raises
    ------
    FeedAnswerError
        When the answer is no list of stations, or this one is not in it.
    """
    entry = _find_entry(answer, triplet)
    if entry is None:
        raise FeedAnswerError(f"the network knows no station {triplet}")
    hours = entry.get("dataTimeZone")
    if hours is not None and not (is_number(hours) and abs(hours) <= 14):
        raise FeedAnswerError(f"dataTimeZone of {triplet} is {show(hours)}, no offset in hours")
    return None if hours is None else round(hours * 60)


def choose_offset_min(given_min: int | None, stated_min: int | None, triplet: str) -> int:
    """Return the clock of a station: what the network gives, or what the farm file states.

    Raises
    ------
    FeedAnswerError
        When neither says one, or they say different ones: no clock is guessed.
    """
    offset_min = stated_min if given_min is None else given_min
    if offset_min is None:
        raise FeedAnswerError(
            f"the network states no clock (dataTimeZone) for {triplet}; ask the network, then set "
            'utc_offset = "UTC-08:00", as it is, for the station in the farm file'
        )
    if stated_min not in (None, offset_min):
        raise FeedAnswerError(
            f"the clock of {triplet} is {format_offset(offset_min)} by the network but utc_offset "
            f'= "{format_offset(stated_min)}" in the farm file; take the key out, or ask the '
            "network"
        )
    return offset_min


def read_data(answer: Any, triplet: str, offset_min: int) -> FeedReadings:
    """Return the readings of a `data` answer, a channel for each element.

    Parameters
    ----------
    answer : what the JSON holds; [] where nothing was found
    triplet : str
    offset_min : int
        Of the station's clock, east of Greenwich. [min]

    Raises
    ------
    FeedAnswerError
        When the answer is of another form, or an element's depth or unit is not known.
    """
    entry = _find_entry(answer, triplet)
    numbers = count(1)
    records: dict[tuple[str, float], list[Record]] = {}
    for series in [] if entry is None else _entries(entry, "data"):
        element = _read_element(series.get("stationElement"))
        stored = str(series["stationElement"].get("storedUnitCode"))
        if stored not in UNITS:
            raise FeedAnswerError(
                f"{element.name} of {triplet} is stored in {stored}; known are "
                + " and ".join(UNITS)
            )
        of_element = records.setdefault((element.name, element.depth_cm), [])
        for row in _entries(series, "values"):
            of_element.append(_read_value(next(numbers), row, UNITS[stored], offset_min))
    return join_records(records)


def _find_entry(answer: Any, triplet: str) -> dict[str, Any] | None:
    if not isinstance(answer, list) or not all(isinstance(entry, dict) for entry in answer):
        raise FeedAnswerError(f"no list of stations but {show(answer)}")
    found = [entry for entry in answer if entry.get("stationTriplet") == triplet]
    if answer and not found:
        raise FeedAnswerError(f"an answer about other stations than {triplet}: {show(answer)}")
    return found[0] if found else None


def _entries(entry: dict[str, Any], key: str) -> list[dict[str, Any]]:
    entries = entry.get(key) or []
    if not isinstance(entries, list) or not all(isinstance(inner, dict) for inner in entries):
        raise FeedAnswerError(f"{key} is no list of entries but {show(entries)}")
    return entries


def _read_element(entry: Any) -> Element:
    """Return the element that a stationElement describes."""
    if not isinstance(entry, dict):
        raise FeedAnswerError(f"stationElement is {show(entry)}")
    depth = entry.get("heightDepth")
    if isinstance(depth, dict) and depth.get("unitCode") == "in":
        depth = depth.get("value")
    code, ordinal = str(entry.get("elementCode")), entry.get("ordinal", 1)
    if code in ELEMENTS and is_number(depth) and depth < 0 and isinstance(ordinal, int):
        return Element(code, float(depth), ordinal)
    raise FeedAnswerError(f"no soil temperature at a depth in inches: {show(entry)}")


def _read_value(number: int, row: dict[str, Any], unit: Unit, offset_min: int) -> Record:
    try:
        observed_at = _read_time(row.get("date"), offset_min)
        soil_temp_c = to_c(to_temperature(row.get("value")), unit)
        qc = str(row.get("qcFlag") or "V")
        if qc not in (*MEASURED, SUSPECT) and not isnan(soil_temp_c):
            raise ValueError(f"the network flags it {NOT_MEASURED.get(qc, 'as no one explains')}")
    except ValueError as error:
        return Record(number, show(row), EARLIEST, nan, str(error))
    return Record(number, show(row), observed_at, soil_temp_c, None, qc == SUSPECT)


def _read_time(text: Any, offset_min: int) -> datetime:
    try:
        local = datetime.strptime(str(text), "%Y-%m-%d %H:%M").replace(tzinfo=UTC)
    except ValueError:
        raise ValueError(f"date {show(text)} is no day with an hour") from None
    check_instant(local)
    return local - timedelta(minutes=offset_min)
