"""digseason imports, and imports show"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import datetime
from itertools import groupby
from pathlib import Path
from typing import Any

import click

from probes.frames import Reject
from service.cli.imports.words import (
    LISTED,
    conflict_record,
    describe_batch,
    describe_conflicts,
    instant_text,
)
from service.cli.options import WIDTH, format_options, print_records, wrap_text
from service.cli.rejects import describe_rejects
from service.intake.reports import COUNTS
from service.store.engine import reading
from service.store.imports import (
    Batch,
    UnknownImportError,
    fetch_batch,
    fetch_batches,
    fetch_rejects,
)
from service.store.loggers import UnknownLoggerError, fetch_logger
from service.store.settlements import Conflict, Selection, fetch_conflicts
from service.store.tables import import_batch
from service.wiring import open_store

SHOWN = (
    *("number", "logger", "imported_at", "source", "file", *COUNTS, "first_at", "last_at"),
    *("signs", "withdrawn_at", "withdrawn_by", "withdrawn_why"),
)


@click.group("imports", invoke_without_command=True)
@click.option("--logger", "logger_id", metavar="ID", help="One logger; all unless given.")
@format_options
@click.pass_context
def command(ctx: click.Context, logger_id: str | None, form: str | None) -> None:
    """List what was imported, or pushed, or fetched: by logger, the newest last.

    The counts say what an import comes to now, beside all others that stand.
    """
    if ctx.invoked_subcommand is not None:
        return
    _, engine = open_store(ctx.obj)
    with reading(engine) as connection:
        if logger_id is not None:
            try:
                fetch_logger(connection, logger_id)
            except UnknownLoggerError as error:
                raise click.BadParameter(str(error), param_hint="--logger") from None
        of_logger = () if logger_id is None else (import_batch.c.logger_id == logger_id,)
        batches = fetch_batches(connection, *of_logger)
    batches.sort(key=lambda batch: batch.logger_id)
    if form:
        records = map(_record, batches)
        if form == "csv":
            records = ({**one, "signs": "; ".join(one["signs"])} for one in records)
        print_records(records, form, SHOWN)
        return
    click.echo("\n".join(_describe(batches)) or "Nothing was imported yet.")


def _record(batch: Batch) -> dict[str, Any]:
    fields = asdict(batch)
    fields |= {"number": batch.id, "logger": batch.logger_id}
    return {
        name: instant_text(value) if isinstance(value := fields[name], datetime) else value
        for name in SHOWN
    }


def _describe(batches: Sequence[Batch]) -> Iterator[str]:
    for logger_id, of_logger in groupby(batches, lambda batch: batch.logger_id):
        every = list(of_logger)
        yield logger_id
        if len(every) > LISTED:
            yield f"  {len(every) - LISTED:,} earlier ones: --json lists all"
        for batch in every[-LISTED:]:
            name = batch.file if batch.file != batch.source else ""
            heading = f"{batch.imported_at:%Y-%m-%d %H:%M}  {batch.source:<5}  {name}".rstrip()
            yield f"{batch.id:>6}  {heading}"[:WIDTH]
            yield from (line for text in describe_batch(batch) for line in wrap_text(text, 8))
            if batch.signs:
                signs = f"signs of a wrong clock or unit: {len(batch.signs)}"
                yield from wrap_text(f"{signs}; `digseason imports show {batch.id}`", 8)


@click.command("show")
@click.argument("number", metavar="N", type=int)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_obj
def show_command(data: Path, number: int, as_json: bool) -> None:
    """Show import N: its counts, signs of a wrong clock, what was rejected, what conflicts."""
    _, engine = open_store(data)
    with reading(engine) as connection:
        try:
            batch = fetch_batch(connection, number)
        except UnknownImportError as error:
            raise click.BadParameter(str(error), param_hint="N") from None
        rejects = fetch_rejects(connection, number)
        conflicts = fetch_conflicts(connection, Selection(told_by=number))
    if as_json:
        details = {
            "rejects": [asdict(reject) for reject in rejects],
            "conflicts": [conflict_record(one) for one in conflicts],
        }
        click.echo(json.dumps({**_record(batch), **details}, indent=2, ensure_ascii=False))
        return
    click.echo("\n".join(_show(batch, rejects, conflicts)))


def _show(batch: Batch, rejects: Sequence[Reject], conflicts: Sequence[Conflict]) -> Iterator[str]:
    when = f"{batch.imported_at:%Y-%m-%d %H:%M} UTC"
    title = f"Import {batch.id} of {batch.logger_id}, {when}, by {batch.source}"
    if batch.file != batch.source:
        title = f"{title}: {batch.file}"
    yield from wrap_text(title, 0)
    for text in describe_batch(batch):
        yield from wrap_text(text, 2)
    if batch.signs:
        yield "\nSigns of a wrong clock or unit; no value was changed"
    for sign in batch.signs:
        yield from wrap_text(sign, 2)
    if rejects:
        yield "\nRejected"
    yield from describe_rejects(rejects)
    if conflicts:
        yield "\nConflicting"
    yield from describe_conflicts(conflicts)
