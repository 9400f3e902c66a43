"""digseason finds list, export"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import groupby
from pathlib import Path

import click
from sqlalchemy import Connection

from alerts.dig.record_words import name_vine, tell_seen, word
from alerts.dig.records import DigRecord, Outcome
from alerts.dig.written import CELLS
from service.cli.finds.records import SHORT
from service.cli.options import (
    Command,
    fetch_named,
    format_options,
    out_file,
    print_records,
    wrap_text,
    write_out,
)
from service.finds.showing import show_find
from service.finds.tables import TOLD_ONLY, write_digs
from service.showing import count_text
from service.store.blocks import Block
from service.store.dig_photos import fetch_photo, fetch_photo_ids
from service.store.dig_records import fetch_dig_records
from service.store.engine import reading
from service.wiring import open_store

COLUMNS = (*CELLS, *TOLD_ONLY)


def choice_options(command: Command) -> Command:
    """Add --block and --season."""
    for name, kind, metavar, text in (
        ("season", int, "YEAR", "One season; all unless given."),
        ("block", str, "ID", "One block; all unless given."),
    ):
        command = click.option(f"--{name}", type=kind, metavar=metavar, help=text)(command)
    return command


@click.command("list")
@choice_options
@format_options
@click.pass_obj
def list_command(data: Path, block: str | None, season: int | None, form: str | None) -> None:
    """List what was found, by day."""
    _, engine = open_store(data)
    with reading(engine) as connection:
        blocks, records = _fetch(connection, block, season)
        photos = fetch_photo_ids(connection, [one.record_id for one in records])
    if form:
        shown = [show_find(one, len(photos[one.record_id])) for one in records]
        print_records(shown, form, COLUMNS)
    else:
        click.echo("\n".join(_lines(blocks, records)))


@click.command("export")
@choice_options
@click.option("--out", "path", type=out_file, metavar="FILE", help="Write it to a file.")
@click.option(
    "--photos",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="FOLDER",
    help="Write the photos too, each by the id of its record.",
)
@click.pass_obj
def export_command(
    data: Path, block: str | None, season: int | None, path: Path | None, folder: Path | None
) -> None:
    """Write what was found as CSV that `finds import` takes."""
    _, engine = open_store(data)
    with reading(engine) as connection:
        _, records = _fetch(connection, block, season)
        if folder is not None:
            count = _write_photos(connection, records, folder)
            click.echo(f"{count_text(count, 'photo')} in {folder}", err=path is None)
    if path is None:
        click.echo(write_digs(records), nl=False)
    else:
        write_out(path, write_digs(records))


def _fetch(
    connection: Connection, block_id: str | None, season: int | None
) -> tuple[Mapping[str, Block], list[DigRecord]]:
    named = fetch_named(connection, [block_id] if block_id else [])
    ids = None if block_id is None else [block_id]
    return {one.id: one for one in named}, fetch_dig_records(connection, ids, season)


def _lines(blocks: Mapping[str, Block], records: list[DigRecord]) -> Iterator[str]:
    if not records:
        yield "nothing is recorded yet"
        return
    ordered = sorted(records, key=lambda one: one.block_id)
    for block_id, group in groupby(ordered, key=lambda one: one.block_id):
        block, of_block = blocks.get(block_id), list(group)
        yield f"{block.name} ({block_id}), {block.site_name}" if block else block_id
        counts = Counter(one.outcome for one in of_block)
        told = [f"{counts[one]:,} {word(one, 'en')}" for one in Outcome if counts[one]]
        yield from wrap_text(f"{count_text(len(of_block), 'vine')} dug: {', '.join(told)}", 2)
        for one in of_block:
            vine = f"{name_vine(one, 'en')}{', by lot' if one.by_lot else ''}"
            yield f"  {one.record_id[:SHORT]}  {one.dug_on}  {vine:<25}{word(one.outcome, 'en')}"
            yield from wrap_text(f"{tell_seen(one, 'en')}; {one.person}", 12)
    yield ""
    yield from wrap_text(
        "A dig without a find is weak evidence; none says that a block has no phylloxera.", 0
    )


def _write_photos(connection: Connection, records: list[DigRecord], folder: Path) -> int:
    """Write photos, one read at a time."""
    ids = fetch_photo_ids(connection, [one.record_id for one in records])
    for record_id, of_record in ids.items():
        for number, photo_id in enumerate(of_record, 1):
            found = fetch_photo(connection, photo_id)
            if found is not None:
                folder.mkdir(parents=True, exist_ok=True)
                (folder / f"{record_id}_{number}.jpg").write_bytes(found[1])
    return sum(map(len, ids.values()))
