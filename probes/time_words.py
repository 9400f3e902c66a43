"""Stamps that no strptime format reads: ISO 8601, seconds since 1970, days of a spreadsheet."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from probes.cells import to_number
from probes.layouts import Layout

_TICKS_PER_SECOND = {"epoch_s": 1, "epoch_ms": 1_000, "epoch_us": 1_000_000}
_FIRST_DAY = {  # spreadsheets took 1900 for a leap year, hence the day before New Year's Eve
    "serial": np.datetime64("1899-12-30", "us"),
    "serial-1904": np.datetime64("1904-01-01", "us"),
}
TIME_WORDS = ("iso8601", *_TICKS_PER_SECOND, *_FIRST_DAY)

_EPOCH = np.datetime64("1970-01-01", "us")
_NOT_A_TIME = np.datetime64("NaT", "us")
_LARGEST_S = 1e10  # the year 2286: beyond it the ticks are others than the layout says

ISO_STAMP = re.compile(
    r"(?P<date>\d{4}-\d\d-\d\d|\d{8})[T ]"
    r"(?P<hour>\d\d)(?::?(?P<minute>\d\d)(?::?(?P<second>\d\d)(?P<part>[.,]\d{1,9})?)?)?"
    r" ?(?P<offset>Z|[+-]\d\d(?::?[0-5]\d)?)?",
    re.ASCII,
)


def read_word(stamps: list[str], layout: Layout) -> NDArray[np.datetime64]:
    """Return the times that stamps show, by a `time_format` that is a word.

    Parameters
    ----------
    stamps : list of str, length n
    layout : Layout

    Returns
    -------
    local : array of datetime64[us], shape (n,)
        NaT where a stamp is not written so. Days of a spreadsheet are rounded to the second, which
        takes the noise of their fractions away. UTC where `clock = "stamp"`; a stamp that states an
        offset against the layout's clock, or none where it should, is NaT.
    """
    word = layout.time_format
    if word == "iso8601":
        return _read_iso(stamps, in_stamp=layout.clock.in_stamp)
    mark = layout.decimal
    numbers = np.array([_number(stamp, mark) for stamp in stamps], np.float64)
    if word in _FIRST_DAY:
        return _FIRST_DAY[word] + _microseconds(np.round(numbers * 86_400))
    seconds = numbers / _TICKS_PER_SECOND[word]
    return _EPOCH + _microseconds(seconds)


def _number(stamp: str, mark: str) -> float:
    number = to_number(stamp, mark)
    return np.nan if number is None else number


def _microseconds(seconds: NDArray[np.float64]) -> NDArray[np.timedelta64]:
    known = np.abs(seconds) <= _LARGEST_S
    span = np.round(np.where(known, seconds, 0) * 1e6).astype("timedelta64[us]")
    return np.where(known, span, np.timedelta64("NaT", "us"))


def _read_iso(stamps: list[str], *, in_stamp: bool) -> NDArray[np.datetime64]:
    found = [ISO_STAMP.fullmatch(stamp) for stamp in stamps]
    is_read = [one is not None and bool(one["offset"]) == in_stamp for one in found]
    texts = [
        f"{one['date'].replace('-', '')}T{one['hour'].replace('24', '00')}{one['minute'] or '00'}"
        f"{one['second'] or '00'}{(one['part'] or '').replace(',', '.')}"
        if one is not None and read
        else ""
        for one, read in zip(found, is_read, strict=True)
    ]
    local = pd.to_datetime(texts, format="ISO8601", errors="coerce").to_numpy()
    local = local.astype("datetime64[us]")
    late = np.array([one is not None and one["hour"] == "24" for one in found], np.bool_)
    local = np.where(late & (local != local.astype("datetime64[D]")), _NOT_A_TIME, local)
    offsets = [_offset_min(one["offset"]) if one is not None else 0 for one in found]
    minutes = late * 1440 - np.array(offsets, np.int64)
    return local + minutes.astype("timedelta64[m]")


def _offset_min(offset: str | None) -> int:
    if offset in (None, "Z"):
        return 0
    digits = offset[1:].replace(":", "").ljust(4, "0")
    return int(f"{offset[0]}1") * (int(digits[:2]) * 60 + int(digits[2:]))
