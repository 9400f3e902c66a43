"""digseason digs sheet"""

from __future__ import annotations

from pathlib import Path
from typing import cast
from urllib.parse import quote

import click

from alerts.dig.vigour import VigourError
from alerts.words import LANGUAGES
from service.cli.digs.blocks import write_file
from service.cli.options import fetch_named
from service.patches import find_block_patches
from service.settings import Settings
from service.store.engine import reading
from service.store.vigour import fetch_planting, fetch_row_azimuth
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
    default=12,
    show_default=True,
    help="How many vines to dig at each patch.",
)
@click.pass_obj
def sheet_command(
    data: Path, block_id: str, out: Path, language: str, paper: str, count: int
) -> None:
    """Print the sheet for the clipboard as PDF: map, vines, boxes, card, cautions."""
    from service.sheets.dig_sheet import DigSheet, print_dig_sheet
    from service.sheets.pages import Paper

    settings, engine = open_store(data)
    with reading(engine) as connection:
        (block,) = fetch_named(connection, [block_id])
        planting = fetch_planting(connection, block.id)
        azimuth_deg = fetch_row_azimuth(connection, block.id)
        try:
            found = planting and find_block_patches(connection, block.id, planting, count)
        except VigourError as error:
            raise click.UsageError(f"{block.name}: its vigour is {error}") from None
    address = find_address(settings, block.id)
    sheet = DigSheet(block, found, azimuth_deg, address)
    write_file(out, print_dig_sheet(sheet, language, cast(Paper, paper)))
    click.echo(f"{out}: {len(found.dig) if found else 0} vines to dig in {block.name}")


def find_address(settings: Settings, block_id: str) -> str | None:
    """Return where a block is seen on screen; None where no base URL is set."""
    base = settings.base_url.rstrip("/")
    return f"{base}/blocks/{quote(block_id)}" if base else None
