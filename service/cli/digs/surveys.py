"""digseason digs drop-survey"""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import click

from service.cli.options import DAY, fetch_named
from service.store.audit import CONSOLE, note_deed
from service.store.engine import writing
from service.store.vigour import drop_survey, fetch_surveys
from service.wiring import open_store


@click.command("drop-survey")
@click.option("--block", "block_id", metavar="ID", required=True)
@click.option("--on", "measured_on", type=DAY, metavar="DATE", required=True, help="Its day.")
@click.option("--measure", metavar="NAME", help="Its measure, where the day has several.")
@click.pass_obj
def drop_survey_command(data: Path, block_id: str, measured_on: date, measure: str | None) -> None:
    """Take away what was measured of a block on a day: of another block, or wrong.

    Patches are found anew without it; what was set aside or dug stays.
    """
    _, engine = open_store(data)
    with writing(engine) as connection:
        (block,) = fetch_named(connection, [block_id])
        kept = fetch_surveys(connection, block.id)
        meant = [
            one for one in kept if one.measured_on == measured_on and measure in (None, one.measure)
        ]
        if len(meant) != 1:
            known = ", ".join(f"{one.measured_on} {one.measure}" for one in kept) or "none"
            said = f"{len(meant)} surveys of {block.name} are of that; write --on and --measure"
            raise click.UsageError(f"{said} of one; there are: {known}")
        (survey,) = meant
        drop_survey(connection, survey)
        about = f"{block.id}, {survey.measure} of {survey.measured_on}, {survey.file}"
        note_deed(connection, CONSOLE, "took vigour away", about, datetime.now(UTC))
    click.echo(f"{survey.measure} of {survey.measured_on} is kept no longer; it was {survey.file}")
