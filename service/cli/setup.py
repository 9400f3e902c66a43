"""digseason setup: the farm file into the store, or the store as a farm file."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from service.farm.changes import Change, What
    from service.farm.models import Farm
    from service.store.blocks import Block

WIDTH = 80
NAMED_AT_MOST = 12


@click.command("setup")
@click.argument(
    "farm_file",
    metavar="[FARM.toml]",
    required=False,
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
)
@click.option("--retire", is_flag=True, help="Retire what the file leaves out.")
@click.option("--export", is_flag=True, help="Print what is active as a farm file.")
@click.pass_context
def command(ctx: click.Context, farm_file: Path | None, retire: bool, export: bool) -> None:
    """Read the farm file FARM.toml, or write it from the store.

    Run it again after every edit. What the file leaves out stays active, and the command ends
    with 1, until --retire. Nothing is deleted: what stands in the file again is active again.
    What a retired logger measured counts up to the day on which it was retired.
    """
    from service.farm.problems import FarmFileError

    if (farm_file is None) != export or (export and retire):
        raise click.UsageError("give either a farm file or --export")
    if farm_file is None:
        _export(ctx.obj)
        return
    try:
        missing = _apply(ctx.obj, farm_file, retire)
    except FarmFileError as error:
        count = f"{len(error.lines)} to correct, nothing was written"
        click.echo("\n".join([f"{farm_file}: {count}", *error.lines]), err=True)
        ctx.exit(2)
    ctx.exit(1 if missing else 0)


def _export(data: Path) -> None:
    from service.farm.export import farm_from_store, farm_text
    from service.store.engine import reading
    from service.wiring import open_store

    _, engine = open_store(data)
    with reading(engine) as connection:
        farm = farm_from_store(connection)
    if farm.organisation is None:
        raise click.UsageError("nothing is set up yet; give a farm file")
    click.echo(farm_text(farm), nl=False)


def _apply(data: Path, farm_file: Path, retire: bool) -> bool:
    """Apply a farm file, print what became of it; return whether something is missing from it."""
    from service.farm.apply import WRITTEN, apply_farm
    from service.farm.export import farm_from_store
    from service.farm.read import read_farm_file
    from service.store.blocks import fetch_blocks
    from service.store.engine import writing
    from service.store.frozen import describe_frozen, fetch_frozen
    from service.unchecked import flag_unchecked
    from service.wiring import open_store

    farm = read_farm_file(farm_file)
    now = datetime.now(UTC)
    _, engine = open_store(data)
    with writing(engine) as connection:
        changes = apply_farm(connection, farm, now, retire)
        stored = farm_from_store(connection)
        written = {c.key for c in changes if c.table == "block" and c.what in WRITTEN}
        blocks = [block for block in fetch_blocks(connection) if block.id in written]
        frozen = fetch_frozen(connection)
    flag_unchecked(engine)
    days = _describe_days(stored, now.year)
    told = [*days, *_describe(changes), *_describe_depths(blocks)]
    if frozen and any(change.what == "changed" for change in changes):
        told.append(_wrap(f"{describe_frozen(frozen)}: these stay as they were.".capitalize(), 0))
    click.echo("\n".join(told))
    return any(change.what == "missing" for change in changes)


def _describe_days(farm: Farm, year: int) -> Iterator[str]:
    """Give a line for the sites that share a zone and an offset: where their days begin."""
    from probes.clock import format_offset, standard_offset_min

    names = defaultdict(list)
    for site in farm.site.values():
        names[site.timezone, site.utc_offset].append(site.name)
    for (zone, offset), of_sites in names.items():
        standard = format_offset(standard_offset_min(zone, year))
        why = f"standard time of {zone}, all year"
        if offset != standard:
            why = f"all year, as the farm file says; {zone} has {standard}"
        yield _wrap(f"{_named(of_sites)}: day begins at midnight {offset} ({why})", 0)


def _describe_depths(blocks: Sequence[Block]) -> Iterator[str]:
    """Give a line for each block whose probes are too shallow, or too deep to be carried."""
    from alerts.root_zone import is_shallow

    for block in blocks:
        depths_cm, bottom_cm = [probe.depth_cm for probe in block.in_use], block.root_zone_cm[1]
        if block.ground is None and is_shallow(depths_cm, bottom_cm):
            yield _wrap(
                f"Block {block.id}: {bottom_cm - depths_cm[-1]:g} cm of its root zone lie below "
                "its deepest probe; carry = true estimates them (digseason soil).",
                0,
            )
        elif block.ground and depths_cm and depths_cm[-1] >= bottom_cm:
            yield _wrap(
                f"Block {block.id}: carry = true changes nothing, a probe lies at the bottom of "
                "its root zone or below; a temperature is carried down only.",
                0,
            )


def _describe(changes: Sequence[Change]) -> Iterator[str]:
    """Give what was done, in words."""
    of: dict[What, list[Change]] = defaultdict(list)
    for change in changes:
        of[change.what].append(change)
    yield from _by_table("Added", of["added"])
    yield from _one_by_one("Changed", of["changed"])
    yield from _one_by_one("Active again", of["returned"])
    yield from _by_table("Retired", of["retired"])
    if of["unchanged"]:
        yield f"Unchanged: {len(of['unchanged'])}"
    yield from _by_table("Missing from the file and still active", of["missing"])
    if of["missing"]:
        yield "Put it back, or run again with --retire."


def _by_table(title: str, changes: Sequence[Change]) -> Iterator[str]:
    keys = defaultdict(list)
    for change in changes:
        keys[change.table].append(change.key)
    if keys:
        yield title
    for kind, of_kind in keys.items():
        noun = kind.removesuffix("s")
        count = f"1 {noun}" if len(of_kind) == 1 else f"{len(of_kind)} {noun}s"
        yield _wrap(f"{count}: {_named(of_kind)}" if kind != "organisation" else count, 2)


def _one_by_one(title: str, changes: Sequence[Change]) -> Iterator[str]:
    if changes:
        yield title
    for change in changes:
        yield _wrap(f"{change.table} {change.key}".rstrip(), 2)
        for field in change.fields:
            note = f" ({field.note})" if field.note else ""
            yield _wrap(f"{field.key}: {field.old} -> {field.new}{note}", 4)


def _named(names: Sequence[str]) -> str:
    more = len(names) - NAMED_AT_MOST
    return ", ".join(names[:NAMED_AT_MOST]) + (f" and {more} more" if more > 0 else "")


def _wrap(text: str, indent: int) -> str:
    return fill(
        text,
        WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent + 4),
        break_long_words=False,
        break_on_hyphens=False,
    )
