"""Layouts and probe histories of the farm file, as the reader and the store take them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta, timezone
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from probes.clock import AMBIGUOUS, OK, Clock, local_to_utc, parse_clock
from probes.clock_corrections import ClockCorrection
from probes.layouts import Layout
from service.farm.layout_tables import LayoutTable
from service.farm.logger_tables import CorrectionEntry, Logger, ProbeEntry
from service.farm.models import Thermometer
from service.farm.text import value_text
from service.farm.values import parse_shift_s, shift_text


def layout_from_spec(name: str, spec: Mapping[str, Any]) -> Layout:
    """Return the layout that a farm-file table declares (the column layout.spec holds one)."""
    table = LayoutTable.model_validate(dict(spec))
    return Layout(**{**dict(table), "name": name, "clock": parse_clock(table.clock)})


def layout_spec(table: LayoutTable) -> dict[str, Any]:
    """Return what the column layout.spec holds: every key, so that defaults may change later."""
    return table.model_dump(mode="json")


def find_corrections(logger: Logger, layout: LayoutTable) -> tuple[ClockCorrection, ...]:
    """Return the corrections of a logger's clock, in order of time; ValueError for one that is not
    clear."""
    clock = parse_clock(layout.clock)
    corrections = sorted(
        (
            ClockCorrection(
                _instant(entry.from_, clock), _instant(entry.until, clock), parse_shift_s(entry.add)
            )
            for entry in logger.clock_corrections
        ),
        key=lambda one: one.stamped_from,
    )
    for before, after in pairwise(corrections):
        if after.stamped_from < before.stamped_until:
            first, until = (
                value_text(_shown(at, clock)) for at in (after.stamped_from, before.stamped_until)
            )
            raise ValueError(
                f"the one from {first} overlaps with one until {until}; end that one where the "
                "other begins"
            )
    return tuple(corrections)


def correction_entries(
    corrections: Iterable[ClockCorrection], layout: LayoutTable
) -> tuple[CorrectionEntry, ...]:
    """Return corrections as the farm file writes them, by the clock of their layout."""
    clock = parse_clock(layout.clock)
    entries = []
    for one in corrections:
        ends = one.stamped_from, one.stamped_until
        shown = [_shown(end, clock) for end in ends]
        first, until = shown if all(end.tzinfo is None for end in shown) else ends
        entry = {"from": first, "until": until, "add": shift_text(one.add_s)}
        entries.append(CorrectionEntry.model_validate(entry))
    return tuple(entries)


def _instant(stamp: datetime, clock: Clock) -> datetime:
    """Return what a stamp means in UTC."""
    if stamp.tzinfo is not None:
        return stamp.astimezone(UTC)
    if clock.in_stamp:
        raise ValueError(
            f"{value_text(stamp)} does not say its offset, as every stamp of this logger does; "
            "write it like 2025-10-05T02:00:00+10:00"
        )
    utc, (problem,) = local_to_utc(np.array([stamp], "datetime64[us]"), clock)
    if problem != OK:
        what = "happens twice" if problem == AMBIGUOUS else "does not happen"
        raise ValueError(
            f'{value_text(stamp)} {what} by clock = "{clock.name}"; write it with its offset, such '
            "as 2025-10-05T02:00:00+10:00"
        )
    (instant,) = utc.tolist()
    return instant.replace(tzinfo=UTC)


def _shown(instant: datetime, clock: Clock) -> datetime:
    """Return what a clock shows at an instant; with the offset where it would not be clear."""
    if clock.in_stamp:
        return instant
    zone = (
        ZoneInfo(clock.zone) if clock.zone else timezone(timedelta(minutes=clock.offset_min or 0))
    )
    local = instant.astimezone(zone)
    stamp = local.replace(tzinfo=None)
    _, (problem,) = local_to_utc(np.array([stamp], "datetime64[us]"), clock)
    return stamp if problem == OK else instant


def probe_history(logger: Logger, layout: LayoutTable) -> dict[str, tuple[ProbeEntry, ...]]:
    """Return the stretches of each column of a logger, by day; those it once had come last."""
    by_day = sorted(logger.probes, key=lambda entry: entry.valid_from)
    former = sorted({entry.column for entry in by_day} - layout.columns.keys())
    return {
        column: tuple(entry for entry in by_day if entry.column == column)
        or (ProbeEntry(column=column, depth_cm=layout.columns[column]),)
        for column in (*layout.columns, *former)
    }


def end_history(stretches: Sequence[ProbeEntry], until: date) -> tuple[ProbeEntry, ...]:
    """Return the stretches of a column that is there no more: they end, on a day at the latest."""
    begun = [entry for entry in stretches if entry.valid_from < until]
    return tuple(
        entry.model_copy(update={"until": entry.until or until}) if entry is begun[-1] else entry
        for entry in begun
    )


def thermometer_history(thermometer: Thermometer) -> dict[str, tuple[ProbeEntry, ...]]:
    """Return the one stretch of each depth of a thermometer, by channel."""
    entries = [
        ProbeEntry(column=f"{value_text(depth_cm)} cm", depth_cm=depth_cm)
        for depth_cm in thermometer.depths_cm
    ]
    return {entry.column: (entry,) for entry in entries}


def shortest_entries(
    history: Mapping[str, tuple[ProbeEntry, ...]], layout: LayoutTable
) -> tuple[ProbeEntry, ...]:
    """Return the entries a farm file needs: none for a column that lies as its layout says."""
    return tuple(
        entry
        for column, stretches in history.items()
        if column not in layout.columns
        or stretches != (ProbeEntry(column=column, depth_cm=layout.columns[column]),)
        for entry in stretches
    )
