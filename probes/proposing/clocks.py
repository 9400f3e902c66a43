"""Which clock stamped an unknown file: what it says of it, and what its rows and soil contradict.

A clock is likely where the file names it, or where it alone is left of those that a logger at a
place may show: the zone of the people there, its standard time all year, UTC.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from probes.clock import Clock, format_offset, parse_clock, standard_offset_min
from probes.clock_signs.daily_waves import DAY_H
from probes.clock_signs.peak_hours import (
    LEAST_SHIFT_H,
    PeakHour,
    find_impossible_peaks,
    find_peak_hours,
    hour_text,
)
from probes.clock_signs.summer_time import Change, find_changes, find_nights_against, name_nights
from probes.frames import LoggerFile
from probes.proposing.clock_words import Said
from probes.proposing.proposal import FOUND, LIKELY, UNDECIDED, YOURS, Finding

UTC_CLOCK = parse_clock("UTC")
SUMMER_TIMES = (
    *("America/Los_Angeles", "America/Santiago", "Europe/London", "Europe/Paris"),
    *("Europe/Athens", "Australia/Sydney", "Pacific/Auckland"),
)
"""A zone for each set of nights on which vine growing countries change their clocks; ours."""


@dataclass(frozen=True)
class Place:
    """Where a logger may stand; `longitude_deg` east of Greenwich, None: not known."""

    name: str
    zone: str
    longitude_deg: float | None = None


NOWHERE = Place("", SUMMER_TIMES[0])


@dataclass(frozen=True)
class Rows:
    """The rows of a file.

    read : reads them by a clock
    stamp_to_end : as of the layout
    stamp_known : whether it is known which end of its interval a stamp is
    depth_cm : of each channel whose depth the file states
    """

    read: Callable[[Clock], LoggerFile]
    stamp_to_end: np.timedelta64
    stamp_known: bool
    interval_min: float
    depth_cm: Mapping[str, float]

    def by(self, clock: Clock) -> LoggerFile:
        """Return them by a clock; by one of a fixed offset without reading them anew."""
        if clock.zone is not None:
            return self.read(clock)
        file, ahead = self.read(UTC_CLOCK), np.timedelta64(clock.offset_min or 0, "m")
        return replace(file, observed_at=file.observed_at - ahead)

    @property
    def slack_h(self) -> float:
        """How far the middle of an interval may lie from what is taken for it [h]."""
        return 0.0 if self.stamp_known else self.interval_min / 120


def find_clock(
    said: Sequence[Said], spoken: str, rows: Rows | None, places: Sequence[Place]
) -> Finding:
    """Return the clock of a file, with its evidence and doubts.

    Parameters
    ----------
    said : sequence of Said
        The clocks that the file names, the surest first.
    spoken : str
        A line of it that speaks of the clock, or "".
    rows : Rows or None
        None: they cannot be read yet.
    places : sequence of Place
        Where the logger may stand, of one zone each; may be none.
    """
    if len(said) > 1:
        told = ", ".join(f'"{one.clock}" ({one.where})' for one in said)
        return Finding("clock", None, f"the file names several: {told}", UNDECIDED)
    for one in said:
        against = _all_against(parse_clock(one.clock), rows, places) if rows else ""
        if against:
            return Finding("clock", one.clock, f"{one.where}; but {against}", UNDECIDED)
        doubt = "" if one.certainty == FOUND else ", if it means the stamps"
        return Finding("clock", one.clock, one.where + doubt, one.certainty)
    hints = [f"line '{spoken}' speaks of it"] if spoken else []
    if rows is None:
        return Finding("clock", None, "; ".join(["the rows do not say it yet", *hints]), YOURS)
    if not places:
        zone, nights = _summer_time(rows)
        follows = ": it follows summer time, and its clock is the zone of its place"
        hints = [*([_shown(zone, nights) + follows] if nights else []), *_by_the_sun(rows), *hints]
        advice = "--site or --zone says where the logger stands"
        return Finding("clock", None, "; ".join([*hints, advice]), YOURS)
    return _of_those_left(rows, places, hints)


def _of_those_left(rows: Rows, places: Sequence[Place], hints: list[str]) -> Finding:
    """Return the one clock of those possible that nothing contradicts, or that there is none."""
    against: dict[str, str] = {}
    left: dict[str, Place] = {}
    for place in places:
        for clock in _possible(rows, place):
            why = _against(clock, rows, place)
            if why:
                against.setdefault(clock.name, why)
            else:
                left.setdefault(clock.name, place)
    out: dict[str, list[str]] = {}
    for name, why in against.items():
        if name not in left:
            out.setdefault(why, []).append(f'"{name}"')
    at = f"at {' or '.join(place.name for place in places)}"
    told = [f"not {' or '.join(names)}: {why}" for why, names in out.items()]
    told += [bounds for place in places for bounds in _bounds(rows, place)]
    if len(left) != 1:
        if all(place.longitude_deg is None for place in places):
            told.append("with --site the hour at which soil is warmest would count too")
        elif not rows.depth_cm:
            told.append("no depth is sure enough for the hour at which it is warmest to count")
        choice = " or ".join(f'"{name}"' for name in left) or "none of the usual clocks"
        return Finding("clock", None, "; ".join([f"{at} {choice} fits", *told, *hints]), YOURS)
    ((name, place),) = left.items()
    clock = parse_clock(name)
    if clock.offset_min and _changes_clocks(rows, place):
        told.append("if someone set it in summer it is an hour more, which looks alike")
    return Finding("clock", name, "; ".join([f"{at} only this fits", *told, *hints]), LIKELY)


def _possible(rows: Rows, place: Place) -> Iterator[Clock]:
    """Yield the clocks that a logger at a place may show, each kind of time once."""
    standard_min = standard_offset_min(place.zone, _year(rows))
    if _changes_clocks(rows, place):
        yield parse_clock(place.zone)
    yield parse_clock(format_offset(standard_min) if standard_min else UTC_CLOCK.name)
    if standard_min:
        yield UTC_CLOCK


def _changes_clocks(rows: Rows, place: Place) -> bool:
    first = datetime(_year(rows), 1, 1, tzinfo=UTC)
    return any(find_changes(place.zone, first, first + timedelta(days=365)))


def _all_against(clock: Clock, rows: Rows, places: Sequence[Place]) -> str:
    """Return what contradicts a clock that the file names wherever the logger stands, or ""."""
    by_place = [_against(clock, rows, place) for place in places or [NOWHERE]]
    return by_place[0] if all(by_place) else ""


def _against(clock: Clock, rows: Rows, place: Place) -> str:
    """Return what contradicts a clock at a place, or ""."""
    zone, nights = _summer_time(rows, clock.zone or place.zone)
    if nights and zone != clock.zone:
        return _shown(zone, nights)
    nights = _nights_against(clock, rows, clock.zone) if clock.zone else []
    if nights:
        return f"no hour is missing or there twice on {name_nights(nights)}"
    if place.longitude_deg is None:
        return ""
    least_h = LEAST_SHIFT_H + rows.slack_h
    peaks = find_impossible_peaks(
        rows.by(clock), rows.depth_cm, place.longitude_deg, rows.interval_min, least_h
    )
    return "".join(
        f"soil at {peak.depth_cm:g} cm would be warmest at {hour_text(peak.peak_h)} by the sun, "
        f"where {_hours(peak)} is possible"
        for peak in peaks[:1]
    )


def _bounds(rows: Rows, place: Place) -> Iterator[str]:
    """Yield between which offsets the hour of the daily peak leaves a clock at a place."""
    if place.longitude_deg is None:
        return
    file = rows.by(UTC_CLOCK)
    sun_h = place.longitude_deg / 360 * DAY_H
    for peak in find_peak_hours(file, rows.depth_cm, 0.0, rows.interval_min):
        low_h, high_h = _ahead_of_the_sun(peak, rows.slack_h)
        low, high = (
            format_offset(round(min(max(end_h + sun_h, -12), 14) * 4) * 15)
            for end_h in (low_h, high_h)
        )
        yield (
            f"the hour at which soil at {peak.depth_cm:g} cm is warmest leaves {low} to {high} "
            f"({peak.days:,} clear days)"
        )
        return


def _by_the_sun(rows: Rows) -> Iterator[str]:
    """Yield how far ahead of the sun of their place the stamps may run."""
    file = rows.by(UTC_CLOCK)
    for peak in find_peak_hours(file, rows.depth_cm, 0.0, rows.interval_min):
        low_h, high_h = _ahead_of_the_sun(peak, rows.slack_h)
        yield (
            f"soil at {peak.depth_cm:g} cm is warmest at {hour_text(peak.peak_h)} of the stamps "
            f"({peak.days:,} clear days), by the sun at {_hours(peak)} in any soil: the clock runs "
            f"{low_h:+.1f} to {high_h:+.1f} h ahead of the sun of its place"
        )
        return


def _ahead_of_the_sun(peak: PeakHour, slack_h: float) -> tuple[float, float]:
    """Return by how much stamps that peak then may run ahead of the sun [h], least and most."""
    earliest_h, latest_h = peak.possible_h
    middle_h = peak.peak_h - (earliest_h + latest_h) / 2
    middle_h -= DAY_H * round(middle_h / DAY_H)
    half_h = (latest_h - earliest_h) / 2 + slack_h
    return middle_h - half_h, middle_h + half_h


def _summer_time(rows: Rows, *zones: str) -> tuple[str, list[Change]]:
    """Return whose summer time the rows follow, of these zones or any, and on which nights."""
    by_zone = {zone: _nights_against(UTC_CLOCK, rows, zone) for zone in (*zones, *SUMMER_TIMES)}
    return max(by_zone.items(), key=lambda item: len(item[1]))


def _nights_against(clock: Clock, rows: Rows, zone: str) -> list[Change]:
    file = rows.by(clock)
    stamped_at = file.observed_at - rows.stamp_to_end
    return find_nights_against(file, stamped_at, clock, zone, rows.interval_min)


def _shown(zone: str, nights: list[Change]) -> str:
    return f"an hour is missing or there twice on {name_nights(nights)}, as in {zone}"


def _hours(peak: PeakHour) -> str:
    return " to ".join(map(hour_text, peak.possible_h))


def _year(rows: Rows) -> int:
    return rows.by(UTC_CLOCK).observed_at.max().item().year
