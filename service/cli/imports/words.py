"""Imports and conflicts in words and as records."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from service.cli.options import wrap_text
from service.intake.reports import COUNTS
from service.intake.retelling import Retold
from service.store.imports import Batch
from service.store.settlements import Conflict

LISTED = 20


def instant_text(instant: datetime) -> str:
    """Return an instant as RFC 3339 has it, to the second."""
    return f"{instant:%Y-%m-%dT%H:%M:%SZ}"


def describe_batch(batch: Batch) -> Iterator[str]:
    """Give what an import comes to, and whether it was withdrawn."""
    counts = [f"{getattr(batch, name):,} {name}" for name in COUNTS if getattr(batch, name)]
    span = ""
    if batch.first_at is not None and batch.last_at is not None:
        span = f"; {batch.first_at:%Y-%m-%d} to {batch.last_at:%Y-%m-%d}"
    yield f"{', '.join(counts) or 'no readings'}{span}"
    if batch.withdrawn_at is not None:
        who = f"withdrawn {batch.withdrawn_at:%Y-%m-%d} by {batch.withdrawn_by}"
        yield f"{who}: {batch.withdrawn_why}"


def conflict_record(one: Conflict) -> dict[str, Any]:
    """Return a conflict as JSON has it."""
    fields = asdict(one)
    fields["logger"] = fields.pop("logger_id")
    return {**fields, "observed_at": instant_text(one.observed_at)}


def describe_conflicts(conflicts: Sequence[Conflict]) -> Iterator[str]:
    """Give a line for each of the first conflicts."""
    for one in conflicts[:LISTED]:
        when = f"{one.channel}, {one.observed_at:%Y-%m-%d %H:%M} UTC"
        kept = f"{one.kept_c:.6g} °C of import {one.kept_import} is kept"
        other = f"{one.other_c:.6g} °C of import {one.other_import}"
        settled = f" (settled by {one.settled_by})" if one.settled_by else ""
        yield from wrap_text(f"{when}: {kept}, not {other}{settled}", 2)
    if len(conflicts) > LISTED:
        yield f"  and {len(conflicts) - LISTED:,} more: --json lists all"


def describe_retold(retold: Retold) -> str:
    """Return what has changed of the readings, and what follows."""
    counts = [f"{count:,} {name}" for name, count in vars(retold).items() if count]
    if not counts:
        return "No reading has changed."
    return f"Readings: {', '.join(counts)}. The next round corrects what was told."
