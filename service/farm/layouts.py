"""Layouts and probe histories of the farm file, as the reader and the store take them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from probes.clock import parse_clock
from probes.layouts import Layout
from service.farm.models import LayoutTable, Logger, ProbeEntry


def layout_from_spec(name: str, spec: Mapping[str, Any]) -> Layout:
    """Return the layout that a farm-file table declares (the column layout.spec holds one)."""
    table = LayoutTable.model_validate(dict(spec))
    return Layout(**{**dict(table), "name": name, "clock": parse_clock(table.clock)})


def layout_spec(table: LayoutTable) -> dict[str, Any]:
    """Return what the column layout.spec holds: every key, so that defaults may change later."""
    return table.model_dump(mode="json")


def probe_history(logger: Logger, layout: LayoutTable) -> dict[str, tuple[ProbeEntry, ...]]:
    """Return the stretches of each column of a logger, by day."""
    by_day = sorted(logger.probes, key=lambda entry: entry.valid_from)
    return {
        column: tuple(entry for entry in by_day if entry.column == column)
        or (ProbeEntry(column=column, depth_cm=depth_cm),)
        for column, depth_cm in layout.columns.items()
    }


def shortest_entries(
    history: Mapping[str, tuple[ProbeEntry, ...]], layout: LayoutTable
) -> tuple[ProbeEntry, ...]:
    """Return the entries a farm file needs: none for a column that lies as its layout says."""
    return tuple(
        entry
        for column, stretches in history.items()
        if stretches != (ProbeEntry(column=column, depth_cm=layout.columns[column]),)
        for entry in stretches
    )
