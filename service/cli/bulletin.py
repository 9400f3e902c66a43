"""digseason bulletin"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from alerts.words import LANGUAGES
from probes.units import Unit
from service.bulletins import write_blocks
from service.cli.options import (
    as_of_option,
    district_option,
    evaluate_district,
    out_file,
    unit_option,
    write_out,
)
from service.store.engine import reading
from service.wiring import open_store


@click.command("bulletin")
@click.option(
    "--out",
    "path",
    type=out_file,
    metavar="FILE",
    required=True,
    help="The HTML to write; print it on A4 or Letter.",
)
@district_option
@as_of_option
@unit_option
@click.option("--language", type=click.Choice(LANGUAGES), default="en", show_default=True)
@click.pass_obj
def command(
    data: Path, path: Path, district_id: str | None, as_of: date | None, unit: Unit, language: str
) -> None:
    """Write a sheet for the notice board: what is open where, what to do, what to mind.

    What is to come is as far as a round has kept it.
    """
    settings, engine = open_store(data)
    with reading(engine) as connection:
        evaluations = evaluate_district(connection, settings, district_id, as_of)
        if not evaluations:
            raise click.UsageError("there are no blocks; begin with: digseason setup FARM.toml")
        text = write_blocks(connection, evaluations, language, unit)
    write_out(path, text)
