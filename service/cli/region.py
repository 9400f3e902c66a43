"""digseason region"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import click

from alerts.advisories.figures import Advisory, Days, Group
from alerts.region.map import draw_map
from alerts.words import LANGUAGES
from service.advisories.drafting import find_figures
from service.charts.shares import draw_share_svg
from service.cli.options import (
    as_of_option,
    district_option,
    evaluate_district,
    format_options,
    out_file,
    print_records,
    write_out,
)
from service.pictures import stand_alone
from service.region import fetch_district_names, place_blocks, share_open
from service.showing import Record, day_text
from service.store.engine import reading
from service.wiring import open_store

COUNTS = ("open", "opening", "resting", "waiting", "over", "not_known")
COLUMNS = (
    "district",
    "from_m",
    "to_m",
    "blocks",
    *COUNTS,
    "opened_first",
    "opened_last",
    "closes_from",
    "closes_until",
    "opens_from",
    "opens_until",
    "as_of",
)


@click.command("region")
@district_option
@as_of_option
@click.option("--map", "map_path", type=out_file, metavar="FILE", help="Write a map as SVG.")
@click.option(
    "--share",
    "share_path",
    type=out_file,
    metavar="FILE",
    help="Write the share open by day as SVG.",
)
@click.option("--language", type=click.Choice(LANGUAGES), default="en", show_default=True)
@format_options
@click.pass_obj
def command(
    data: Path,
    district_id: str | None,
    as_of: date | None,
    map_path: Path | None,
    share_path: Path | None,
    language: str,
    form: str | None,
) -> None:
    """Show how the blocks of a region stand, by district and by height.

    What is to come is as far as a round has kept it.
    """
    settings, engine = open_store(data)
    with reading(engine) as connection:
        names = fetch_district_names(connection)
        evaluations = evaluate_district(connection, settings, district_id, as_of)
        figures = find_figures(connection, evaluations) if evaluations else None
    if figures is None:
        click.echo("No blocks yet. Begin with: digseason setup FARM.toml")
        return
    title = names[district_id] if district_id else ""
    if form:
        print_records(_records(figures), form, COLUMNS)
    else:
        click.echo("\n".join(_lines(figures)))
    if map_path:
        svg = draw_map(place_blocks(evaluations, names), title, language)
        write_out(map_path, stand_alone(svg), aside=form is not None)
    if share_path:
        svg = draw_share_svg(share_open(evaluations, names), language)
        write_out(share_path, svg, aside=form is not None)


def _lines(figures: Advisory) -> Iterator[str]:
    yield f"As of {day_text(figures.as_of)}"
    heads = ("blocks", "open", "soon", "rest", "wait", "over")
    yield f"{'':<24}{''.join(f'{head:>7}' for head in heads)}{'unknown':>9}"
    for district in figures.districts:
        yield from _group_lines(district.name or "no district", district.group)
    yield from _group_lines("all", figures.region)
    if figures.bands:
        yield "by height above the sea"
    for band in figures.bands:
        yield from _group_lines(f"{band.from_m}-{band.to_m} m", band.group)
    yield "soon: likely to open within two weeks"
    yield "A closed window says nothing about a vine."


def _group_lines(name: str, group: Group) -> Iterator[str]:
    counts = "".join(f"{getattr(group, one):>7}" for one in COUNTS[:-1])
    yield f"{name[:24]:<24}{group.blocks:>7}{counts}{group.not_known:>9}"
    told = [
        f"opened {_days(group.opened)}" if group.opened else "",
        f"likely to close {_days(group.closes)}" if group.closes else "",
        f"likely to open {_days(group.opens)}" if group.opens else "",
    ]
    if any(told):
        yield f"  {'; '.join(filter(None, told))}"


def _days(days: Days) -> str:
    first, last = days
    return day_text(first) if first == last else f"{first.day} {first:%b} to {last.day} {last:%b}"


def _records(figures: Advisory) -> Iterator[Record]:
    day = figures.as_of
    for district in figures.districts:
        yield {"district": district.id or None, "from_m": None, "to_m": None} | _record(
            district.group, day
        )
    for band in figures.bands:
        yield {"district": None, "from_m": band.from_m, "to_m": band.to_m} | _record(
            band.group, day
        )


def _record(group: Group, as_of: date) -> Record:
    ends = {"opened": group.opened, "closes": group.closes, "opens": group.opens}
    first, last = (
        {name: days[place].isoformat() if days else None for name, days in ends.items()}
        for place in (0, 1)
    )
    return {
        "blocks": group.blocks,
        **{name: getattr(group, name) for name in COUNTS},
        "opened_first": first["opened"],
        "opened_last": last["opened"],
        "closes_from": first["closes"],
        "closes_until": last["closes"],
        "opens_from": first["opens"],
        "opens_until": last["opens"],
        "as_of": as_of.isoformat(),
    }
