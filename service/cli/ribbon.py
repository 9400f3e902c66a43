"""digseason ribbon"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from alerts.ribbon import draw_ribbon, explain_ribbon, explain_shades
from alerts.ribbon_svg import RibbonRow, draw_ribbons
from alerts.state_words import show_state
from alerts.words import LANGUAGES
from service.cli.options import as_of_option, evaluate_named, out_file, write_out
from service.evaluation import BlockEvaluation
from service.pictures import stand_alone
from service.showing import find_season, find_seasons, name_years
from service.store.engine import reading
from service.wiring import open_store


@click.command("ribbon")
@click.option("--block", "block_id", metavar="ID", help="One block, a row for each season.")
@click.option(
    "--season", type=int, metavar="YEAR", help="A row for each block; the latest unless given."
)
@as_of_option
@click.option(
    "--svg",
    "path",
    type=out_file,
    metavar="FILE",
    help="Write a picture instead of lines.",
)
@click.option("--language", type=click.Choice(LANGUAGES), default="en", show_default=True)
@click.pass_obj
def command(
    data: Path,
    block_id: str | None,
    season: int | None,
    as_of: date | None,
    path: Path | None,
    language: str,
) -> None:
    """Show seasons as ribbons: rows are blocks, or the years of one block."""
    settings, engine = open_store(data)
    with reading(engine) as connection:
        evaluations = evaluate_named(connection, settings, block_id, as_of)
    rows = [
        row for one in evaluations for row in _rows(one, season, block_id is not None, language)
    ]
    title = evaluations[0].block.name if block_id else ""
    if path:
        picture = draw_ribbons(rows, title, language)
        write_out(path, stand_alone(picture))
        return
    if title:
        click.echo(title)
    for row in rows:
        shown = draw_ribbon(row.season).show(language)
        click.echo(f"{row.name}\n  {shown}" if not block_id else f"{row.name}  {shown}")
    click.echo(explain_ribbon(language))
    if any(row.season.open_chances for row in rows):
        click.echo(explain_shades(language))


def _rows(
    one: BlockEvaluation, season: int | None, by_year: bool, language: str
) -> list[RibbonRow]:
    """Return a block's row, or one for each of its seasons with readings, the latest first."""
    if not by_year or season is not None:
        return [
            RibbonRow(
                one.block.name,
                find_season(one, season),
                show_state(one.state, language) if season is None else "",
            )
        ]
    return [
        RibbonRow(name_years(year, one.block.south), find_season(one, year))
        for year in find_seasons(one)
    ]
