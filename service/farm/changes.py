"""What a farm file changes in the store: found before anything is written."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal, TypeVar

from probes.clock import format_offset, standard_offset_min
from service.farm.layouts import (
    correction_entries,
    find_corrections,
    probe_history,
    shortest_entries,
)
from service.farm.logger_tables import CorrectionEntry, Logger, ProbeEntry
from service.farm.models import (
    SCOPES,
    TABLES,
    Block,
    Farm,
    FarmTable,
    ProbeUse,
    Recipient,
    Site,
    probe_choice,
)
from service.farm.text import value_text

Table = TypeVar("Table", bound=FarmTable)

What = Literal["added", "changed", "returned", "unchanged", "missing", "retired"]

UNTIL_REREAD = "until `digseason imports reread`"
NOT_APPLIED_BACKWARDS = {  # what was imported stays as it was read
    ("layout", "clock"): f"files already imported keep the old clock, {UNTIL_REREAD}",
    ("layout", "stamp"): f"files already imported keep the old stamp, {UNTIL_REREAD}",
    ("layout", "unit"): f"files already imported keep the old unit, {UNTIL_REREAD}",
    ("logger", "clock_corrections"): f"files already imported keep the old clock, {UNTIL_REREAD}",
}


@dataclass(frozen=True)
class FieldChange:
    """One key of a table, before and after as TOML; "none" where it was or is not there."""

    key: str
    old: str
    new: str
    note: str


@dataclass(frozen=True)
class Change:
    """What became of one table; `key` is its id or name, empty for the organisation.

    missing : not in the file and still active; `retired` where that was asked for
    returned : retired before, active again, with what changed besides
    """

    what: What
    table: str
    key: str
    fields: tuple[FieldChange, ...] = ()


def as_stored(farm: Farm, year: int) -> Farm:
    """Return a valid farm as the store gives it back: offsets said, lists in order."""

    def find_offset(site: Site) -> str:
        return site.utc_offset or format_offset(standard_offset_min(site.timezone, year))

    def find_entries(logger: Logger) -> tuple[ProbeEntry, ...]:
        layout = farm.layout[logger.layout]
        return shortest_entries(probe_history(logger, layout), layout)

    def find_clock(logger: Logger) -> tuple[CorrectionEntry, ...]:
        layout = farm.layout[logger.layout]
        return correction_entries(find_corrections(logger, layout), layout)

    def find_choices(block: Block) -> tuple[str | ProbeUse, ...] | None:
        return tuple(probe_choice(*use) for use in block.basis) or None

    return replace(
        farm,
        site=_with(farm.site, "utc_offset", find_offset),
        block=_with(farm.block, "probes", find_choices),
        logger=_with(_with(farm.logger, "probes", find_entries), "clock_corrections", find_clock),
        thermometer=_with(farm.thermometer, "depths_cm", lambda one: tuple(sorted(one.depths_cm))),
        recipient={key: _with_order(one) for key, one in farm.recipient.items()},
    )


def _with(
    tables: Mapping[str, Table], field: str, find: Callable[[Table], object]
) -> dict[str, Table]:
    return {key: one.model_copy(update={field: find(one)}) for key, one in tables.items()}


def _with_order(one: Recipient) -> Recipient:
    scope = one.scope
    ordered = {kind: tuple(sorted(n for k, n in scope if k == kind)) or None for kind in SCOPES}
    return one.model_copy(update=ordered)


def with_missing(farm: Farm, active: Farm) -> Farm:
    """Return a farm together with what it leaves out and the store holds active."""
    kinds = [kind for kind in TABLES if kind != "organisation"]
    return replace(farm, **{kind: {**active.tables(kind), **farm.tables(kind)} for kind in kinds})


def find_changes(farm: Farm, active: Farm, retired: Farm, *, retire: bool) -> list[Change]:
    """Return what becomes of every table of the farm, and of the active ones that it leaves out."""
    changes = []
    for kind in TABLES:
        present, gone = active.tables(kind), retired.tables(kind)
        for key, table in farm.tables(kind).items():
            if key not in present and key not in gone:
                changes.append(Change("added", kind, key))
                continue
            fields = tuple(_find_fields(kind, present.get(key) or gone[key], table))
            changed: What = "changed" if fields else "unchanged"
            changes.append(Change("returned" if key in gone else changed, kind, key, fields))
        left_out: What = "retired" if retire else "missing"
        changes += [Change(left_out, kind, key) for key in present if key not in farm.tables(kind)]
    return changes


def _find_fields(kind: str, stored: FarmTable, wanted: FarmTable) -> Iterator[FieldChange]:
    before, after = _flatten(stored), _flatten(wanted)
    for key in {**before, **after}:
        old, new = (value_text(side[key]) if key in side else "none" for side in (before, after))
        if old != new:
            yield FieldChange(key, old, new, NOT_APPLIED_BACKWARDS.get((kind, key), ""))


def _flatten(table: FarmTable) -> dict[str, Any]:
    """Return a table's keys that have a value, those of a column as columns.T1."""
    flat: dict[str, Any] = {}
    for key, value in table:
        if isinstance(value, dict):
            flat |= {f"{key}.{name}": inner for name, inner in value.items()}
        elif value is not None:
            flat[key] = value
    return flat
