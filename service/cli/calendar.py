"""digseason calendar"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from alerts.words import LANGUAGES
from probes.units import Unit
from service.calendars import SEASONS, write_blocks
from service.cli.options import (
    as_of_option,
    district_option,
    evaluate_district,
    evaluate_named,
    out_file,
    unit_option,
    write_out,
)
from service.region import fetch_district_names
from service.store.engine import reading
from service.wiring import open_store


@click.command("calendar")
@click.option(
    "--out",
    "path",
    type=out_file,
    metavar="FILE",
    required=True,
    help="The iCalendar file (.ics) to write.",
)
@click.option("--block", "block_id", metavar="ID", help="One block; all unless given.")
@district_option
@as_of_option
@unit_option
@click.option("--language", type=click.Choice(LANGUAGES), default="en", show_default=True)
@click.pass_obj
def command(
    data: Path,
    path: Path,
    block_id: str | None,
    district_id: str | None,
    as_of: date | None,
    unit: Unit,
    language: str,
) -> None:
    """Write the windows of this season and the last as a calendar, those to come as perhaps.

    What is to come is as far as a round has kept it.
    """
    if block_id and district_id:
        raise click.UsageError("name a block or a district, not both")
    settings, engine = open_store(data)
    with reading(engine) as connection:
        if block_id:
            evaluations = evaluate_named(connection, settings, block_id, as_of)
            name = evaluations[0].block.name
        else:
            evaluations = evaluate_district(connection, settings, district_id, as_of, SEASONS)
            name = fetch_district_names(connection)[district_id] if district_id else ""
        if not evaluations:
            raise click.UsageError("there are no blocks; begin with: digseason setup FARM.toml")
        text = write_blocks(connection, evaluations, name, language, unit)
    write_out(path, text)
