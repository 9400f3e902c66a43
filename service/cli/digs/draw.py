"""digseason digs draw"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import groupby
from pathlib import Path
from textwrap import fill
from typing import Any, cast

import click

from alerts.dig.claims import claim_by_lot
from alerts.dig.lot import MOST_SEED, Lot, draw_vines
from alerts.dig.lot_words import tell_draw, tell_left_out, tell_spare
from alerts.dig.patches import Vine
from alerts.dig.status import USUAL
from alerts.words import LANGUAGES
from service.cli.digs.blocks import write_file
from service.cli.options import WIDTH, fetch_named, format_options, print_records
from service.dig.lot import choose_seed, find_lot
from service.dig.status import today_at
from service.showing import Record
from service.store.blocks import Block
from service.store.engine import reading
from service.wiring import open_store

CONFIDENCE = 0.95
COLUMNS = ("block", "seed", "place", "row", "vine", "spare")
MOST_PLACES = 100_000


class _Grid(click.ParamType[frozenset[Vine]]):
    name = "rows x vines"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> frozenset[Vine]:
        """Return the vines of "24x40"."""
        rows, _, vines = str(value).lower().partition("x")
        if not (rows.isdecimal() and vines.isdecimal()):
            self.fail(f"'{value}' is no rows and vines; write 24x40", param, ctx)
        if not 0 < int(rows) * int(vines) <= MOST_PLACES:
            self.fail(f"'{value}' is not within 1 and {MOST_PLACES:,} vines", param, ctx)
        return frozenset(
            (row, vine) for row in range(1, int(rows) + 1) for vine in range(1, int(vines) + 1)
        )


@click.command("draw")
@click.option("--block", "block_id", metavar="ID", required=True)
@click.option(
    "--count",
    type=click.IntRange(1, MOST_PLACES),
    help="How many; as many as `plan --block` says unless given.",
)
@click.option(
    "--seed",
    type=click.IntRange(0, MOST_SEED),
    help="Draws the same again; chosen by chance, and told, unless given.",
)
@click.option(
    "--grid",
    type=_Grid(),
    metavar="ROWSxVINES",
    help="The vines of the block, as 24x40, where no vigour says which there are.",
)
@click.option("--pdf", type=click.Path(dir_okay=False, path_type=Path), help="Write a sheet.")
@click.option("--language", type=click.Choice(LANGUAGES), default="en", help="Of the sheet.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4")
@format_options
@click.pass_obj
def draw_command(
    data: Path,
    block_id: str,
    count: int | None,
    seed: int | None,
    grid: frozenset[Vine] | None,
    pdf: Path | None,
    language: str,
    paper: str,
    form: str | None,
) -> None:
    """Draw the vines to dig by lot over a whole block, and a few to stand in for missing ones."""
    settings, engine = open_store(data)
    with reading(engine) as connection:
        (block,) = fetch_named(connection, [block_id])
        today = today_at([block], datetime.now(UTC))[block.id]
        known = find_lot(connection, block, today, USUAL, CONFIDENCE, len(grid or ()) or None)
    places = grid or known.places
    if not places:
        raise click.UsageError(
            f"which vines {block.name} has is not known; name a table of its vigour to `patches`, "
            "or write --grid, such as 24x40"
        )
    wanted = count or (known.how_many and known.how_many.still)
    if not wanted:
        raise click.UsageError("`digs plan` names no number of vines to draw; write --count")
    if wanted > len(places):
        raise click.BadParameter(
            f"{wanted} vines, but {len(places)} are known by row and number", param_hint="--count"
        )
    lot = draw_vines(places, wanted, choose_seed() if seed is None else seed)
    if pdf is not None:
        from service.sheets.lot_sheet import print_lot_sheet
        from service.sheets.pages import Paper

        write_file(pdf, print_lot_sheet(block, lot, settings, language, cast(Paper, paper)))
    if form:
        print_records(_records(block, lot), form, COLUMNS)
        return
    click.echo("\n".join(_lines(block, lot, known.vines)))


def _records(block: Block, lot: Lot) -> Iterator[Record]:
    for is_spare, vines in enumerate((lot.drawn, lot.spare)):
        for place, (row, vine) in enumerate(vines, 1):
            yield {
                "block": block.id,
                "seed": lot.seed,
                "place": place,
                "row": row,
                "vine": vine,
                "spare": is_spare,
            }


def _lines(block: Block, lot: Lot, vines: int | None) -> Iterator[str]:
    yield f"{block.name} ({block.id}), {block.site_name}"
    for text in [tell_draw(lot, "en"), *tell_left_out(lot, vines, "en")]:
        yield from ("", fill(text, WIDTH))
    yield ""
    for row, of_row in groupby(lot.drawn, lambda one: one[0]):
        numbers = ", ".join(f"{vine}" for _, vine in of_row)
        yield fill(numbers, WIDTH, initial_indent=f"row {row:<5}", subsequent_indent=" " * 9)
    spare = ", ".join(f"row {row} vine {vine}" for row, vine in lot.spare)
    if spare:
        yield from ("", fill(f"{tell_spare('en')} {spare}.", WIDTH))
    yield from ("", fill(claim_by_lot("en"), WIDTH))
