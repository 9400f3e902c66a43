"""Stamps of a logger file: text -> UTC instants -> rows that run one way in time."""

from __future__ import annotations

from bisect import bisect_right

import numpy as np
from numpy.typing import NDArray

from probes.clock import AMBIGUOUS, OK, format_offset, local_to_utc, standard_offset_min
from probes.layouts import LATEST_YEAR, Layout
from probes.logger_lines import shown
from probes.time_words import ISO_STAMP
from probes.wall_times import read_wall_times

# strptime fills a missing year with 1900; the store's instants end with year 9999.
FIRST_STAMP, LAST_STAMP = np.datetime64("1901-01-01", "us"), np.datetime64("2200-01-01", "us")

HAPPENS_TWICE, NEVER_HAPPENS = "happens twice", "never happens"

_NOT_A_TIME = np.datetime64("NaT", "us")
_IN_PLACE = np.datetime64("1970-01-01", "us")  # of a time that is not known


def read_stamps(
    stamps: list[str], layout: Layout, latest_year: int = LATEST_YEAR
) -> tuple[NDArray[np.datetime64], dict[int, str]]:
    """Return the UTC instants of stamps, and why a stamp has none.

    Parameters
    ----------
    stamps : list of str, length n
    layout : Layout
        `time_format` must match a stamp from end to end. A stamp at the start of its averaging
        interval is moved to the interval's end.
    latest_year : int
        A year of two digits is the last one, up to this, that ends in them.

    Returns
    -------
    observed_at : array of datetime64[us], shape (n,)
        NaT where a stamp is not in the format, or its clock showed that time twice or never.
    reasons : dict of int to str
        For each NaT, by its place.
    """
    local = read_wall_times(stamps, layout, latest_year)
    known = (local >= FIRST_STAMP) & (local < LAST_STAMP)
    utc, problem = local_to_utc(np.where(known, local, _IN_PLACE), layout.clock)
    observed_at = np.where(known, utc, _NOT_A_TIME)
    observed_at += layout.stamp_to_end
    reasons = {
        int(place): _why_no_instant(stamps[place], local[place], int(problem[place]), layout)
        for place in np.flatnonzero(~known | (problem != OK))
    }
    return observed_at, reasons


def find_out_of_order(observed_at: NDArray[np.datetime64]) -> NDArray[np.bool_]:
    """Return which rows break the order in time of a file that runs one way.

    Parameters
    ----------
    observed_at : array of datetime64[us], shape (n,)
        As the rows stand in the file; never NaT.

    The way is forward, or backward where most steps are. The longest run of rows that never
    steps back is kept, so that one jump of the clock far ahead costs itself and not all that
    follows; of two rows either of which could go, the later goes. A row outside that run is out
    of order unless an earlier row of the run holds its very time: that is a repeat, which the
    store judges.
    """
    time = observed_at.astype(np.int64)
    if np.sign(np.diff(time)).sum() < 0:
        time = -time
    if (np.diff(time) >= 0).all():
        return np.zeros(time.size, np.bool_)
    run = _longest_run(time)
    first_not_before = np.minimum(np.searchsorted(time[run], time), run.size - 1)
    earlier = run[first_not_before]
    repeats = (time[earlier] == time) & (earlier < np.arange(time.size))
    out_of_order = ~repeats
    out_of_order[run] = False
    return out_of_order


def _why_no_instant(stamp: str, local: np.datetime64, problem: int, layout: Layout) -> str:
    stamp, where = shown(stamp), f"layout.{layout.name}"
    if np.isnat(local):
        iso = ISO_STAMP.fullmatch(stamp) if layout.time_format == "iso8601" else None
        if iso is not None and bool(iso["offset"]) != layout.clock.in_stamp:
            return _why_no_offset(stamp, iso["offset"], where)
        return (
            f"'{stamp}' is not a time written as \"{layout.time_format}\"; "
            f"correct the line, or time and time_format in {where}"
        )
    if not FIRST_STAMP <= local < LAST_STAMP:
        return (
            f"'{stamp}' lies outside the years 1901 to 2199; "
            f"set the logger's clock, or correct time_format in {where}"
        )
    zone = layout.clock.zone or ""
    standard = format_offset(standard_offset_min(zone, int(str(local)[:4])))
    happens = HAPPENS_TWICE if problem == AMBIGUOUS else NEVER_HAPPENS
    return (
        f"'{stamp}' {happens} in {zone}; set clock = \"{standard}\" in {where} "
        "if the logger keeps standard time all year"
    )


def _why_no_offset(stamp: str, offset: str | None, where: str) -> str:
    if offset:
        return f"'{stamp}' states its own offset; set clock = \"stamp\" in {where}"
    return (
        f"'{stamp}' states no offset; write it into the line, or where no stamp has one set clock "
        f'to what the logger showed in {where}, such as "UTC-08:00"'
    )


def _longest_run(time: NDArray[np.int64]) -> NDArray[np.intp]:
    """Return the places of the longest run that never steps back (not one of neighbours)."""
    # Walked from the end, so that the choice among equally long runs falls on the earlier rows.
    values = (-time[::-1]).tolist()
    ends: list[int] = []
    end_places: list[int] = []
    before = [-1] * len(values)
    for place, value in enumerate(values):
        length = bisect_right(ends, value)
        before[place] = end_places[length - 1] if length else -1
        ends[length : length + 1] = [value]
        end_places[length : length + 1] = [place]
    run = []
    place = end_places[-1]
    while place >= 0:
        run.append(len(values) - 1 - place)
        place = before[place]
    return np.array(run, np.intp)
