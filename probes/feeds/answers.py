"""What JSON answers have in common, whatever the feed: records with a time and a number, or not."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from math import inf, nan
from typing import Any, TypeGuard

import numpy as np

from probes.cells import LARGEST_NUMBER, to_number
from probes.feeds.contract import DepthSeries, FeedAnswerError, FeedReadings, join_series
from probes.frames import Reject
from probes.logger_lines import shown

EARLIEST, LATEST = datetime(1901, 1, 1, tzinfo=UTC), datetime(2200, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Record:
    """One record of an answer: a reading, a missing one (NaN), or what has no place among them.

    number : where in the answer it stands, from 1
    observed_at : the instant or the END of its interval, UTC
    reason : why it is rejected; None where it is not
    suspect : whether the network itself flags it
    """

    number: int
    text: str
    observed_at: datetime
    soil_temp_c: float
    reason: str | None
    suspect: bool = False


def load_answer(content: bytes) -> Any:
    """Return what an answer holds as JSON.

    Raises
    ------
    FeedAnswerError
        When it is no JSON.
    """
    try:
        return json.loads(content)
    except (ValueError, RecursionError):
        begin = shown(content.decode("utf-8", "replace"))
        raise FeedAnswerError(
            f"the answer is no JSON but '{begin}'; check the address in a browser"
        ) from None


def join_records(records: Mapping[tuple[str, float], Iterable[Record]]) -> FeedReadings:
    """Return the records of sensors, by channel and depth [cm], as readings and rejects."""
    series: list[DepthSeries] = []
    rejects: list[Reject] = []
    for (channel, depth_cm), all_of_it in records.items():
        kept = []
        for record in all_of_it:
            if record.reason is None:
                kept.append(record)
            else:
                rejects.append(Reject(record.number, record.reason, record.text, 1))
        times = [record.observed_at.replace(tzinfo=None) for record in kept]
        series.append(
            DepthSeries(
                channel=channel,
                depth_cm=depth_cm,
                record=np.array([record.number for record in kept], np.int64),
                observed_at=np.array(times, "datetime64[us]"),
                soil_temp_c=np.array([record.soil_temp_c for record in kept], np.float64),
                suspect=np.array([record.suspect for record in kept], np.bool_),
            )
        )
    return join_series(series, sorted(rejects, key=lambda reject: reject.line))


def to_temperature(value: Any) -> float:
    """Return the number that a JSON value is, or writes as text; NaN for null.

    Raises
    ------
    ValueError
        When it is none, or beyond any thermometer.
    """
    if value is None:
        return nan
    number = to_number(value.strip(), ".") if isinstance(value, str) else value
    if is_number(number) and abs(number) <= LARGEST_NUMBER:
        return float(number)
    raise ValueError(f"{show(value)} is no temperature")


def is_number(value: Any) -> TypeGuard[float]:
    """Whether a JSON value is a number; true and false are none, and JSON's NaN is none."""
    return isinstance(value, int | float) and not isinstance(value, bool) and -inf < value < inf


def check_instant(instant: datetime) -> None:
    """Refuse what no reading was taken at; ValueError.

    The first and last days of the calendar have no UTC everywhere, so this comes before any sum.
    """
    if not EARLIEST <= instant <= LATEST:
        raise ValueError(f"{instant.isoformat()} lies outside 1901 to 2199")


def show(value: Any) -> str:
    """Return a JSON value as a reject shows it."""
    # half a pair of UTF-16 passes through JSON, but into no database
    return shown(json.dumps(value, ensure_ascii=False).encode("utf-8", "replace").decode())
