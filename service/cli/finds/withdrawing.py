"""digseason finds withdraw"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click

from alerts.dig.record_words import name_vine
from service.cli.finds.records import need_record
from service.cli.options import person_option, why_option
from service.finds.keeping import withdraw_find
from service.store.engine import writing
from service.wiring import open_store


@click.command("withdraw")
@click.argument("record", metavar="RECORD")
@person_option
@why_option
@click.pass_obj
def withdraw_command(data: Path, record: str, person: str, why: str) -> None:
    """Let a record count no more; it stays in the store, with who said so and why."""
    _, engine = open_store(data)
    with writing(engine) as connection:
        found = need_record(connection, record)
        stood = withdraw_find(connection, found, person, why, datetime.now(UTC))
    if not stood:
        raise click.BadParameter("it is withdrawn already", param_hint="RECORD")
    click.echo(f"{name_vine(found, 'en')} of {found.block_id}, {found.dug_on}: withdrawn")
