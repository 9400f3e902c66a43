"""digseason order"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from textwrap import fill
from typing import Any, cast

import click

from alerts.card import short_cautions
from alerts.dig.hygiene import explain_order, name_cleaning
from alerts.dig.order import Visit
from alerts.dig.order_words import order_words, tell_of_cleaning
from alerts.dig.status import USUAL, Search
from alerts.dig.status_words import name_standing
from alerts.words import LANGUAGES
from service.cli.digs.blocks import write_file
from service.cli.options import (
    DAY,
    SHARE,
    WIDTH,
    fetch_named,
    format_options,
    out_file,
    print_records,
)
from service.dig.order import Place, order_visits, read_place
from service.dig.status import find_statuses, today_at
from service.showing import Record, day_text
from service.store.blocks import Block
from service.store.engine import reading
from service.wiring import open_store

COLUMNS = (
    "number",
    "block",
    "site",
    "status",
    "since",
    "last_dug",
    "confidence",
    "prevalence",
    "vines_by_lot",
    "vines_chosen",
    "no_live_roots",
    "way_km",
    "cleaning",
    "as_of",
)


class _Place(click.ParamType[Place]):
    name = "place"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> Place:
        """Return the latitude and longitude of "-34.02,149.96"."""
        if isinstance(value, tuple):
            return value
        place = read_place(str(value))
        if place is None:
            self.fail(
                f"'{value}' is no place; write latitude and longitude in degrees: -34.02,149.96",
                param,
                ctx,
            )
        return place


@click.command("order")
@click.option("--block", "block_ids", multiple=True, metavar="ID", help="One; all unless given.")
@click.option(
    "--from",
    "start",
    type=_Place(),
    metavar="LAT,LON",
    help="Where the crews begin; in the first block unless given.",
)
@click.option(
    "--alike",
    type=click.IntRange(1, 50),
    default=1,
    show_default=True,
    help="Points of confidence that make no difference: those blocks go by distance.",
)
@click.option("--as-of", type=DAY, metavar="DATE", help="The last day that counts; today.")
@click.option(
    "--prevalence",
    type=SHARE,
    default=USUAL.prevalence,
    help="Confidence is that fewer vines than this are infested; 5% unless given.",
)
@click.option(
    "--sensitivity",
    type=SHARE,
    default=USUAL.sensitivity,
    help="Chance that one dig at an infested vine shows it; 80% unless given (no source).",
)
@click.option(
    "--introduction",
    type=SHARE,
    default=USUAL.introduction,
    help="Chance in a year that the insect comes in; 5% unless given (no source).",
)
@click.option("--pdf", type=out_file, metavar="FILE", help="Write a sheet to print.")
@click.option("--language", type=click.Choice(LANGUAGES), default="en", help="Of the sheet.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4")
@format_options
@click.pass_obj
def command(
    data: Path,
    block_ids: tuple[str, ...],
    start: Place | None,
    alike: int,
    as_of: date | None,
    prevalence: float,
    sensitivity: float,
    introduction: float,
    pdf: Path | None,
    language: str,
    paper: str,
    form: str | None,
) -> None:
    """Tell in which order crews and machines go to blocks, and what to clean in between.

    Blocks where digging has not found the insect come first, by confidence, those where it was
    found last; within a class a short way.
    """
    _, engine = open_store(data)
    search = Search(prevalence, sensitivity, introduction)
    with reading(engine) as connection:
        blocks = fetch_named(connection, block_ids)
        today = today_at(blocks, datetime.now(UTC))
        until = {block_id: as_of or day for block_id, day in today.items()}
        statuses = find_statuses(connection, blocks, until, search)
    if not blocks:
        raise click.UsageError("no blocks yet; begin with: digseason setup FARM.toml")
    visits = order_visits(blocks, statuses, start, alike)
    named = {one.id: one for one in blocks}
    if pdf is not None:
        from service.sheets.order_sheet import print_order
        from service.sheets.pages import Paper

        write_file(pdf, print_order(visits, named, language, cast(Paper, paper)))
    if form:
        print_records(_records(visits), form, COLUMNS)
        return
    click.echo("\n".join(_lines(visits, named)))


def _records(visits: Sequence[Visit]) -> Iterator[Record]:
    for number, visit in enumerate(visits, 1):
        status = visit.stop.status
        yield {
            "number": number,
            "block": visit.stop.block_id,
            "site": visit.stop.site_id,
            "status": status.standing,
            "since": status.since and status.since.isoformat(),
            "last_dug": status.last_dug and status.last_dug.isoformat(),
            "confidence": status.confidence and round(status.confidence, 4),
            "prevalence": status.search.prevalence,
            "vines_by_lot": sum(status.by_lot.values()),
            "vines_chosen": status.chosen,
            "no_live_roots": status.no_live_roots,
            "way_km": visit.way_km and round(visit.way_km, 3),
            "cleaning": visit.cleaning,
            "as_of": status.as_of.isoformat(),
        }


def _lines(visits: Sequence[Visit], blocks: Mapping[str, Block]) -> Iterator[str]:
    share = f"{100 * visits[0].stop.status.search.prevalence:g}"
    yield f"{'no.':>3}  {'block':<16}{'stands':<14}{'sure':<6}{'last dug':<12}{'km':>5}  before it"
    for number, visit in enumerate(visits, 1):
        status = visit.stop.status
        sure = "" if status.percent is None else f"{status.percent} %"
        last = day_text(status.last_dug) if status.last_dug else ""
        way = "" if visit.way_km is None else f"{visit.way_km:.1f}"
        yield (
            f"{number:>3}  {blocks[visit.stop.block_id].name[:15]:<16}"
            f"{name_standing(status.standing, 'en'):<14}{sure:<6}{last:<12}{way:>5}  "
            f"{name_cleaning(visit.cleaning, 'en')}"
        )
    yield ""
    sure = f"Sure: that fewer than {share} % of the vines are infested."
    yield fill(f"{sure} {explain_order('en')}", WIDTH)
    yield from ("", f"{order_words('en').cleaning}:", "")
    for text in [*tell_of_cleaning("en"), short_cautions("en")]:
        yield fill(text, WIDTH, initial_indent="- ", subsequent_indent="  ")
