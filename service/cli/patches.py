"""digseason patches"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from textwrap import fill

import click

from alerts.dig.claims import claim_targeted, say_of_no_patch
from alerts.dig.patches import FALSE_DISCOVERIES, Patch
from alerts.dig.reasons import tell_reason
from alerts.dig.records import Vine
from alerts.dig.vigour import VigourError
from alerts.dig.vines import DigVine
from service.cli.digs.blocks import need_planting
from service.cli.options import DAY, WIDTH, fetch_named, format_options, print_records
from service.cli.rejects import describe_rejects
from service.dig.patches import VINES_EACH, BlockPatches, find_block_patches
from service.showing import Record, count_text, day_text
from service.store.blocks import Block
from service.store.engine import reading, writing
from service.store.vigour import KeptVigour, keep_vigour
from service.vigour.contract import VigourFile
from service.vigour.files import read_vigour
from service.wiring import open_store

COLUMNS = (
    "block",
    "measured_on",
    "measure",
    "patch",
    "score",
    "first_row",
    "last_row",
    "first_vine",
    "last_vine",
    "vines",
    "loss",
    "length_m",
    "width_m",
    "angle_deg",
    "along_rows",
    "grown_by",
    "grown_since",
    "chance",
    "set_aside_why",
    "set_aside_by",
    "dig",
)


@click.command("patches")
@click.option("--block", "block_id", metavar="ID", required=True)
@click.argument(
    "file", required=False, type=click.Path(exists=True, dir_okay=False, path_type=Path)
)
@click.option("--measure", metavar="NAME", help="The column or band of vigour, if several.")
@click.option("--on", "measured_on", type=DAY, metavar="DATE", help="When it was measured; today.")
@click.option(
    "--dig",
    "count",
    type=click.IntRange(1, 200),
    default=VINES_EACH,
    show_default=True,
    help="How many vines to dig at each patch.",
)
@format_options
@click.pass_context
def command(
    ctx: click.Context,
    block_id: str,
    file: Path | None,
    measure: str | None,
    measured_on: date | None,
    count: int,
    form: str | None,
) -> None:
    """Find the weak patches of a block, and the vines to dig there.

    FILE is CSV with the columns row and vine, or x_m and y_m in metres along the rows and across
    them from the first vine of row 1, and one of vigour, of which more is stronger; or a GeoTIFF,
    where rasterio is installed. Without it, what was measured last.
    """
    _, engine = open_store(ctx.obj)
    read = None
    with reading(engine) as connection:
        (block,) = fetch_named(connection, [block_id])
        planting = need_planting(connection, block)
    if file is not None:
        try:
            read = read_vigour(file.read_bytes(), planting, measure)
            now = datetime.now(UTC)
            kept = KeptVigour(measured_on or now.date(), read.measure, file.name, read.vigour)
            with writing(engine) as connection:
                keep_vigour(connection, block.id, kept, now)
        except VigourError as error:
            raise click.BadParameter(f"{file}: {error}", param_hint="FILE") from None
    with reading(engine) as connection:
        try:
            found = find_block_patches(connection, block.id, planting, count)
        except VigourError as error:
            raise click.UsageError(f"{block.name}: its vigour cannot be used: {error}") from None
    if found is None:
        raise click.UsageError(f"no vigour of {block.name} was kept yet; name its table as FILE")
    if form:
        print_records(_records(block, found, form), form, COLUMNS)
        for line in _reject_lines(read):
            click.echo(line, err=True)
    else:
        click.echo("\n".join([*_reject_lines(read), *_lines(block, found)]))
    ctx.exit(1 if read and read.rejects else 0)


def _reject_lines(read: VigourFile | None) -> Iterator[str]:
    if read is None:
        return
    yield f"{read.read:,} values read, {read.missing:,} missing, {len(read.rejects):,} rejected"
    yield from describe_rejects(read.rejects)


def _lines(block: Block, found: BlockPatches) -> Iterator[str]:
    patches = found.survey.patches
    counted = count_text(len(patches), "weak patch").replace("patchs", "patches")
    yield f"{block.name} ({block.id}), {block.site_name}"
    yield f"  {found.last.measure} of {day_text(found.last.measured_on)}: {counted}"
    yield f"  beyond chance by Gi*, false discoveries held to {FALSE_DISCOVERIES:.0%}"
    if patches:
        yield ""
        yield f"{'no.':>4}  {'rows':<9}{'vines':<11}{'weaker':<8}{'size, lie':<26}{'grown':<8}score"
    for patch in patches:
        yield _patch_line(patch)
        aside = found.aside.get(patch.number)
        if aside:
            yield from fill(
                f"set aside by {aside.person}: {aside.why}",
                WIDTH,
                initial_indent=" " * 6,
                subsequent_indent=" " * 6,
            ).splitlines()
    if found.dig:
        yield from ("", "Dig in this order, the crew's own eyes coming before it:", "")
        for place, one in enumerate(found.dig, 1):
            row, vine = one.vine
            reason = f"patch {one.patch}: {tell_reason(one, 'en')}"
            yield f"{place:>4}  row {row:<4} vine {vine:<4} {reason}"
        yield from ("", fill(claim_targeted("en"), WIDTH))
    yield ""
    yield fill(say_of_no_patch("en"), WIDTH)


def _patch_line(patch: Patch) -> str:
    rows, vines = _spans(patch.vines)
    lie = "along rows" if patch.angle_deg < 30 else "across" if patch.angle_deg > 60 else "aslant"
    if patch.width_m > 0.8 * patch.length_m:
        lie = "round"
    size = f"{patch.length_m:.0f} x {patch.width_m:.0f} m, {lie}"
    grown = "-" if patch.grown_by is None else f"{patch.grown_by:+.0%}"
    return (
        f"{patch.number:>4}  {rows:<9}{vines:<11}{f'{patch.loss:.0%}':<8}{size:<26}{grown:<8}"
        f"{patch.score:.0f}"
    )


def _spans(vines: frozenset[Vine]) -> tuple[str, str]:
    """Return the rows and the numbers between which a patch lies."""
    first, last = ([choose(one[i] for one in vines) for i in (0, 1)] for choose in (min, max))
    return f"{first[0]}-{last[0]}", f"{first[1]}-{last[1]}"


def _records(block: Block, found: BlockPatches, form: str) -> Iterator[Record]:
    for patch in found.survey.patches:
        rows, vines = (sorted(one[i] for one in patch.vines) for i in (0, 1))
        aside = found.aside.get(patch.number)
        dig = [one for one in found.dig if one.patch == patch.number]
        yield {
            "block": block.id,
            "measured_on": found.last.measured_on.isoformat(),
            "measure": found.last.measure,
            "patch": patch.number,
            "score": round(patch.score, 2),
            "first_row": rows[0],
            "last_row": rows[-1],
            "first_vine": vines[0],
            "last_vine": vines[-1],
            "vines": len(patch.vines),
            "loss": round(patch.loss, 4),
            "length_m": round(patch.length_m, 2),
            "width_m": round(patch.width_m, 2),
            "angle_deg": round(patch.angle_deg, 1),
            "along_rows": round(patch.along_rows, 3),
            "grown_by": None if patch.grown_by is None else round(patch.grown_by, 3),
            "grown_since": found.before and found.before.isoformat(),
            "chance": patch.chance,
            "set_aside_why": aside.why if aside else None,
            "set_aside_by": aside.person if aside else None,
            "dig": _dig(dig, form),  # type: ignore[dict-item]
        }


def _dig(dig: list[DigVine], form: str) -> str | list[dict[str, str | int | float]]:
    """Return the vines in their order: with why in JSON, as "12:34 12:30" in CSV."""
    if form == "csv":
        return " ".join(f"{one.vine[0]}:{one.vine[1]}" for one in dig)
    return [
        {
            "row": one.vine[0],
            "vine": one.vine[1],
            "place": one.place,
            "steps": one.steps,
            "contrast": round(one.contrast, 4),
        }
        for one in dig
    ]
