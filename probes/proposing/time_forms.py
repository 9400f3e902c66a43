"""How the stamps of an unknown file are written: every form is tried, and the rows decide."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray

from probes.cells import to_number
from probes.clock import IN_STAMP, parse_clock
from probes.proposing.dialect import Dialect, is_number
from probes.proposing.samples import UNKNOWN
from probes.stamps import FIRST_STAMP, LAST_STAMP
from probes.time_words import ISO_STAMP
from probes.wall_times import read_wall_times

DATES = (
    *("%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%Y%m%d"),
    *("%d/%m/%Y", "%m/%d/%Y", "%d.%m.%Y", "%m.%d.%Y", "%d-%m-%Y", "%m-%d-%Y"),
    *("%d/%m/%y", "%m/%d/%y", "%y/%m/%d", "%d.%m.%y", "%m.%d.%y", "%y.%m.%d"),
    *("%d-%m-%y", "%m-%d-%y", "%y-%m-%d"),
    *("%d-%b-%Y", "%d %b %Y", "%d-%b-%y", "%b %d %Y", "%b %d, %Y"),
    *("%d/%b/%Y", "%d %B %Y", "%d de %B de %Y"),
)
TIMES = (
    *("%H:%M", "%H:%M:%S", "%H:%M:%S.%f", "%H.%M", "%Hh%M", "%H%M", "%H%M%S"),
    *("%I:%M %p", "%I:%M:%S %p", "%I:%M%p", "%I:%M:%S%p"),
)
JOINTS = (" ", "T", ", ", "_")
NUMBERS = ("epoch_s", "epoch_ms", "epoch_us", "serial", "serial-1904", "%Y%m%d%H%M", "%Y%m%d%H%M%S")
PARTS = {"year": "%Y", "month": "%m", "day": "%d", "doy": "%j", "hour": "%H", "minute": "%M"}
_PART_NAMES = {
    "year": r"y|yr|year|yyyy",
    "month": r"mo|mon|month|mm",
    "doy": r"doy|jday|julian(day)?|dayofyear|yday",
    "day": r"d|day|dd|dayofmonth",
    "hour": r"h|hr|hour|hhmm|time|hh",
    "minute": r"mi|min|minute",
}
ENOUGH = 0.95  # of the sampled rows, or all but one: the others are damaged, or are no rows
STEPS_NEEDED = 4
FIRST_YEAR = np.datetime64("1990-01-01")  # of loggers with a clock; numbers before it are no times


@dataclass(frozen=True)
class TimeForm:
    """One way to read all sampled stamps."""

    places: tuple[int, ...]
    time_format: str
    times: tuple[NDArray[np.datetime64], ...]
    """By piece; without the rows that are no times."""
    in_stamp: bool
    """Whether stamps state their own offsets."""

    def fitting(self) -> int:
        """Return how many stamps it reads."""
        return sum(piece.size for piece in self.times)

    def steps_min(self) -> NDArray[np.float64]:
        """Return the steps between rows [min], those between rows of one time left out."""
        steps = [np.diff(piece) / np.timedelta64(1, "m") for piece in self.times]
        joined = np.concatenate([*steps, np.empty(0)])
        joined = joined[joined != 0]
        return -joined if np.sign(joined).sum() < 0 else joined

    def odd_steps(self) -> int:
        """Return how many steps are not the usual one."""
        steps = self.steps_min()
        return 0 if not steps.size else steps.size - int((steps == usual(steps)).sum())


def usual(steps: NDArray[np.float64]) -> float:
    """Return the most frequent of some steps."""
    values, counts = np.unique(steps, return_counts=True)
    return float(values[counts.argmax()])


def find_time_forms(dialect: Dialect, latest_year: int, now: datetime) -> list[TimeForm]:
    """Return the ways in which the stamps can be read, the steadiest first.

    Parameters
    ----------
    dialect : Dialect
    latest_year : int
        A year of two digits is the last one, up to this, that ends in them.
    now : datetime
        Numbers that give times after it are no times.

    Forms that read every stamp alike are one. The first is to be believed where `is_decided`.
    """
    for places, formats in _columns(dialect):
        stamps = [
            [" ".join(row[place].strip() for place in places) for row in piece]
            for piece in dialect.pieces
        ]
        forms = [
            form
            for time_format in formats
            if (form := _try(places, time_format, stamps, latest_year, now)) is not None
        ]
        if forms:
            # A day over 12 shows in that a form fits one row more.
            most = max(map(TimeForm.fitting, forms))
            forms = [form for form in forms if form.fitting() == most]
            return sorted(_distinct(forms), key=TimeForm.odd_steps)
    return []


def is_decided(forms: list[TimeForm]) -> bool:
    """Return whether only one form is left, or only one makes the rows run in steady steps."""
    if len(forms) == 1:
        return True
    steady, next_odd = forms[0], forms[1].odd_steps()
    odd = steady.odd_steps()
    return steady.steps_min().size >= STEPS_NEEDED and next_odd > 4 * odd


def _columns(dialect: Dialect) -> Iterator[tuple[tuple[int, ...], tuple[str, ...]]]:
    """Yield the columns that may hold the stamps, with the forms to try on them."""
    parts = _named_parts(dialect)
    if parts is not None:
        yield parts
    texts = [
        [cell for cell in dialect.column(place) if cell]
        for place in range(len(dialect.pieces[0][0]))
    ]
    both = tuple(
        f"{date}{joint}{time}" for date, joint, time in product(DATES, JOINTS, TIMES)
    ) + tuple(f"{time} {date}" for date, time in product(DATES, TIMES))
    words = [place for place, cells in enumerate(texts) if cells and not is_number(cells[0])]
    ends = [place for place in words if re.search("end|to$|bis|fin", _name(dialect, place), re.I)]
    for place in dict.fromkeys([*ends, *words]):
        yield (place,), ("iso8601", *both)
    for place in range(len(texts) - 1):
        yield (place, place + 1), tuple(f"{date} {time}" for date, time in product(DATES, TIMES))
    numbers = [place for place, cells in enumerate(texts) if cells and is_number(cells[0])]
    for place in numbers:
        if len(set(texts[place])) > 1 or len(texts[place]) == 1:
            yield (place,), NUMBERS
    for place in words:
        yield (place,), DATES


def _name(dialect: Dialect, place: int) -> str:
    return dialect.names[place] if place < len(dialect.names) else ""


def _named_parts(dialect: Dialect) -> tuple[tuple[int, ...], tuple[str, ...]] | None:
    """Return the columns of year, day and hour, where they are named so."""
    found: dict[str, int] = {}
    for place, name in enumerate(dialect.names):
        plain = re.sub(r"[\W_]|\(.*?\)", "", name.lower())
        for part, names in _PART_NAMES.items():
            if part not in found and re.fullmatch(names, plain):
                found[part] = place
    of_day = ("doy",) if "doy" in found else ("month", "day")
    if not {"year", "hour", *of_day} <= set(found):
        return None
    parts = ["year", *of_day, "hour", *(["minute"] if "minute" in found else [])]
    time_format = " ".join(PARTS[part] for part in parts)
    hours = [to_number(cell, ".") or 0 for cell in dialect.column(found["hour"])]
    if max(hours) > 24:
        time_format = time_format.replace("%H", "%H%M")
    return tuple(found[part] for part in parts), (time_format,)


def _try(
    places: tuple[int, ...],
    time_format: str,
    stamps: list[list[str]],
    latest_year: int,
    now: datetime,
) -> TimeForm | None:
    """Return the stamps as read by one form; None where it does not fit nearly all."""
    first = [stamp for piece in stamps for stamp in piece][:20]
    if not _looks(first, time_format):
        return None
    in_stamp = time_format == "iso8601" and any(re.search(r"(Z|[+-]\d\d:?\d\d)$", s) for s in first)
    layout = replace(
        UNKNOWN,
        time=tuple(map(str, places)),
        time_format=time_format,
        clock=parse_clock(IN_STAMP if in_stamp else "UTC"),
    )
    if np.isnat(read_wall_times(first, layout, latest_year)).mean() > 0.3:
        return None
    pieces = [read_wall_times(piece, layout, latest_year) for piece in stamps]
    is_number_form = time_format in NUMBERS
    latest = np.datetime64(now.replace(tzinfo=None), "us") + np.timedelta64(1, "D")
    low, high = (FIRST_YEAR, latest) if is_number_form else (FIRST_STAMP, LAST_STAMP)
    times = tuple(piece[(piece >= low) & (piece < high)] for piece in pieces)
    form = TimeForm(places, time_format, times, in_stamp)
    rows = sum(map(len, pieces))
    if not form.fitting() or form.fitting() < min(ENOUGH * rows, rows - 1):
        return None
    steps = form.steps_min()
    # A column of temperatures or of a count is no clock: its numbers must run steadily.
    if is_number_form and (not steps.size or form.odd_steps() * 3 > steps.size or steps.min() < 0):
        return None
    return form


def _looks(stamps: list[str], time_format: str) -> bool:
    if time_format == "iso8601":
        return any(ISO_STAMP.fullmatch(stamp) for stamp in stamps)
    form = re.sub("%.", "0", re.sub("%[bBp]", "a", time_format))
    return "%" not in time_format or _shape(form) in set(map(_shape, stamps))


@lru_cache(4096)
def _shape(stamp: str) -> str:
    """Return a stamp with a 0 for each number and an a for each word: few forms are shaped so."""
    shape = re.sub(r"([ap])\. ?(m)\.", r"\1\2", stamp, flags=re.IGNORECASE)
    for run, sign in ((r"[^\W\d_]+\.?", "a"), (r"\d+", "0"), (r"\s+", " ")):
        shape = re.sub(run, sign, shape)
    return shape


def _distinct(forms: list[TimeForm]) -> Iterator[TimeForm]:
    """Yield of forms that read the stamps alike the plainest: the last, strptime's."""
    kept: list[TimeForm] = []
    for form in reversed(forms):
        if not any(_alike(form, other) for other in kept):
            kept.append(form)
    yield from reversed(kept)


def _alike(one: TimeForm, other: TimeForm) -> bool:
    return all(
        mine.size == theirs.size and bool((mine == theirs).all())
        for mine, theirs in zip(one.times, other.times, strict=True)
    )
