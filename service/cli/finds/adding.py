"""digseason finds add, import, photo"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path

import click

from alerts.dig.record_words import advise, word
from alerts.dig.records import DigRecord, Insects, Outcome, Roots, Specimen, Swellings
from alerts.dig.written import WrittenError, read_written, refuse_cell
from service.cli.finds.records import need_record
from service.cli.options import DAY, person_option, wrap_text
from service.cli.rejects import describe_rejects
from service.csv_tables import TableError
from service.finds.keeping import keep_find, keep_photos, read_photos
from service.finds.photos import PhotoError
from service.finds.tables import read_digs
from service.showing import count_text
from service.store.blocks import fetch_blocks
from service.store.dig_records import Kept
from service.store.engine import reading, writing
from service.wiring import open_store

_OPTIONS = {"record_id": "--id", "person": "--by", "depth_cm": "--depth", "dug_on": "--on"}
photo_files = click.Path(exists=True, dir_okay=False, path_type=Path)


def _choice(words: type[StrEnum]) -> click.Choice[str]:
    return click.Choice([one.value for one in words])


@click.command("add")
@click.option("--block", metavar="ID", required=True)
@click.option("--row", metavar="N", required=True)
@click.option("--vine", metavar="N", required=True, help="Its number in the row.")
@click.option("--on", "dug_on", type=DAY, metavar="DATE", help="When it was dug; today.")
@person_option
@click.option("--roots", type=_choice(Roots), required=True, help="Live ones in the hole.")
@click.option("--dead-roots", is_flag=True, help="Dead roots were in it too.")
@click.option("--swellings", type=_choice(Swellings), required=True)
@click.option(
    "--insects",
    type=_choice(Insects),
    required=True,
    help="few: up to 10; some: up to 100; many: more.",
)
@click.option("--specimen", type=_choice(Specimen), default="not taken", show_default=True)
@click.option("--depth", "depth_cm", metavar="CM", help="How deep was dug: 40, 40cm or 16in.")
@click.option("--by-lot/--chosen", help="Whether the vine was drawn by lot; else it was chosen.")
@click.option("--mark", metavar="TEXT", help="What was left on the vine to find it again.")
@click.option("--note", metavar="TEXT")
@click.option("--latitude", metavar="DEGREES")
@click.option("--longitude", metavar="DEGREES")
@click.option("--photo", "photos", type=photo_files, multiple=True, metavar="FILE")
@click.option("--id", "record_id", metavar="UUID", help="Of another record of that day, or one.")
@click.pass_obj
def add_command(data: Path, photos: Sequence[Path], **written: object) -> None:
    """Keep what digging at one vine showed.

    The same vine, day and person again: the same is kept once, anything else corrects it.
    """
    _, engine = open_store(data)
    now = datetime.now(UTC)
    said = {"dug_on": now.date().isoformat()}
    said |= {name: _write(value) for name, value in written.items() if value is not None}
    try:
        with writing(engine) as connection:
            known = {block.id for block in fetch_blocks(connection)}
            record = read_written(said, known, now.date())
            kept = keep_find(connection, record, record.person, now)
            read = read_photos([path.read_bytes() for path in photos], record)
            new = keep_photos(connection, record, read, record.person, now)
    except WrittenError as error:
        faults = [refuse_cell(one, "en", _name_option(one.cell)) for one in error.faults]
        raise click.UsageError("\n".join(faults)) from None
    except PhotoError as error:
        raise click.BadParameter(f"{error}; nothing is kept", param_hint="--photo") from None
    click.echo(f"{kept}: {record.record_id}, {word(record.outcome, 'en')}")
    if new:
        click.echo(f"{count_text(new, 'photo')} kept with it")
    _advise([record])


@click.command("import")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@person_option
@click.pass_context
def import_command(ctx: click.Context, file: Path, person: str) -> None:
    """Keep what a table says, a vine a line; the same table again is kept once.

    FILE is CSV in UTF-8. The README says what stands in its columns. Ends with 1 where a line
    was refused; the others count.
    """
    _, engine = open_store(ctx.obj)
    now = datetime.now(UTC)
    try:
        with writing(engine) as connection:
            known = {block.id for block in fetch_blocks(connection)}
            table = read_digs(file.read_bytes(), known, now.date())
            kept = [keep_find(connection, one, person, now) for one in table.records]
    except TableError as error:
        raise click.BadParameter(f"{file}: {error}", param_hint="FILE") from None
    counts = Counter(kept)
    told = ", ".join(f"{counts[one]:,} {one}" for one in Kept if counts[one] or one is Kept.NEW)
    click.echo(f"{told}, {len(table.rejects):,} refused")
    for line in describe_rejects(table.rejects):
        click.echo(line)
    changed = (Kept.NEW, Kept.CORRECTED)
    _advise([one for one, fate in zip(table.records, kept, strict=True) if fate in changed])
    ctx.exit(1 if table.rejects else 0)


@click.command("photo")
@click.argument("start", metavar="RECORD")
@click.argument("files", nargs=-1, required=True, type=photo_files)
@person_option
@click.pass_obj
def photo_command(data: Path, start: str, files: Sequence[Path], person: str) -> None:
    """Keep photos with a record: JPEG, PNG or WebP, each once.

    Where they were taken is cut out of them, unless the record says where its vine stands.
    """
    _, engine = open_store(data)
    with reading(engine) as connection:
        record = need_record(connection, start)
    new = 0
    for path in files:
        try:
            read = read_photos([path.read_bytes()], record)
            with writing(engine) as connection:
                new += keep_photos(connection, record, read, person, datetime.now(UTC))
        except PhotoError as error:
            raise click.BadParameter(f"{path}: {error}", param_hint="FILES") from None
    click.echo(f"{count_text(new, 'photo')} kept, {len(files) - new:,} known already")


def _write(value: object) -> str:
    return ("yes" if value else "no") if isinstance(value, bool) else str(value)


def _name_option(cell: str) -> str:
    return _OPTIONS.get(cell, f"--{cell.replace('_', '-')}")


def _advise(records: Sequence[DigRecord]) -> None:
    """Print what follows, once for each outcome."""
    outcomes = {one.outcome for one in records}
    for outcome in Outcome:
        if outcome in outcomes:
            click.echo("")
            for paragraph in advise(outcome, "en"):
                click.echo("\n".join(wrap_text(paragraph, 0)))
