"""digseason digs sheet"""

from __future__ import annotations

from pathlib import Path
from typing import cast

import click

from alerts.dig.vigour import VigourError
from alerts.words import LANGUAGES
from service.cli.digs.blocks import write_file
from service.cli.options import fetch_named
from service.dig.patches import VINES_EACH
from service.store.engine import reading
from service.wiring import open_store


@click.command("sheet")
@click.option("--block", "block_id", metavar="ID", required=True)
@click.option(
    "--out", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE", required=True
)
@click.option("--language", type=click.Choice(LANGUAGES), default="en", show_default=True)
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True)
@click.option(
    "--dig",
    "count",
    type=click.IntRange(1, 200),
    default=VINES_EACH,
    show_default=True,
    help="How many vines to dig at each patch.",
)
@click.pass_obj
def sheet_command(
    data: Path, block_id: str, out: Path, language: str, paper: str, count: int
) -> None:
    """Print the sheet for the clipboard as PDF: map, vines, boxes, card, cautions."""
    from service.sheets.dig_sheet import find_dig_sheet, print_dig_sheet
    from service.sheets.pages import Paper

    settings, engine = open_store(data)
    with reading(engine) as connection:
        (block,) = fetch_named(connection, [block_id])
        try:
            sheet = find_dig_sheet(connection, block, count, settings)
        except VigourError as error:
            raise click.UsageError(f"{block.name}: its vigour cannot be used: {error}") from None
    write_file(out, print_dig_sheet(sheet, language, cast(Paper, paper)))
    dig = len(sheet.found.dig) if sheet.found else 0
    click.echo(f"{out}: {dig} vines to dig in {block.name}")
