"""digseason rootzone"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from alerts.figures import show_error, show_source
from alerts.windows import trailing_mean
from probes.units import Unit, from_c
from service.cli.options import (
    as_of_option,
    evaluate_named,
    format_options,
    print_records,
    unit_option,
    wrap_text,
)
from service.evaluation import BlockEvaluation
from service.showing import basis_text, day_text, mean_text, root_zone_records
from service.store.engine import reading
from service.wiring import open_store

COLUMNS = ("day", "root_zone_c", "estimated", "depths_cm", "error_c", "by_hand", "borrowed_from")


@click.command("rootzone")
@click.option("--block", "block_id", metavar="ID", required=True)
@click.option("--days", default=28, show_default=True, help="How many days the table shows.")
@as_of_option
@unit_option
@format_options
@click.pass_obj
def command(
    data: Path, block_id: str, days: int, as_of: date | None, unit: Unit, form: str | None
) -> None:
    """Print a block's root-zone temperature, day by day."""

    settings, engine = open_store(data)
    with reading(engine) as connection:
        (one,) = evaluate_named(connection, settings, block_id, as_of)
    if form:
        print_records(root_zone_records(one), form, COLUMNS)
    else:
        _print_table(one, days, unit)


def _print_table(one: BlockEvaluation, days: int, unit: Unit) -> None:
    """Print the last days with the mean that decides."""

    zone = one.root_zone
    top_cm, bottom_cm = one.block.root_zone_cm
    click.echo(f"{one.block.name} ({one.block.id}), {one.block.site_name}")
    click.echo(f"root zone {top_cm:g}-{bottom_cm:g} cm, {basis_text(zone)}")
    for source in one.sources:
        click.echo("\n".join(wrap_text(show_source(source, "en"), 0)))
    click.echo(f"\n{'day':<12}{'root zone':>12}{mean_text(one.rule):>16}")
    means_c = trailing_mean(zone.root_zone_c, one.rule)
    for place in range(max(0, zone.day.size - days), zone.day.size):
        temps_c = (zone.root_zone_c[place], means_c[place])
        shown = [f"{from_c(c, unit):.1f} °{unit}" if c == c else "-" for c in temps_c]
        line = f"{day_text(zone.day[place].item()):<12}{shown[0]:>12}{shown[1]:>16}"
        if zone.borrowed[place]:
            line += f"  borrowed, ±{show_error(zone.error_c[place], unit, 'en')}"
        elif zone.by_hand[place]:
            how = "between two readings" if zone.estimated[place] else "read"
            line += f"  {how} by hand, ±{show_error(zone.error_c[place], unit, 'en')}"
        click.echo(line)
