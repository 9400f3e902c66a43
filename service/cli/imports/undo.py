"""digseason imports withdraw, and imports restore"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import click

from service.cli.imports.words import describe_retold
from service.cli.options import check_line, person_option
from service.intake.undoing import ImportStandsError, restore, withdraw
from service.store.engine import writing
from service.store.imports import UnknownImportError
from service.wiring import open_store


@contextmanager
def refusing() -> Iterator[None]:
    """Turn what cannot be done into wrong use."""
    try:
        yield
    except (UnknownImportError, ImportStandsError) as error:
        raise click.BadParameter(str(error), param_hint="N") from None


@click.command("withdraw")
@click.argument("number", metavar="N", type=int)
@person_option
@click.option("--why", metavar="TEXT", required=True, callback=check_line, help="The reason.")
@click.pass_obj
def withdraw_command(data: Path, number: int, person: str, why: str) -> None:
    """Take import N back: all becomes what it would be had it never come.

    Readings that later imports repeated come back from these; flags, daily means and windows
    follow, and the next round corrects what was told. The same content stays out until
    `digseason imports restore N`; a station's network is asked anew.
    """
    _, engine = open_store(data)
    with writing(engine) as connection, refusing():
        retold = withdraw(connection, number, person, why, datetime.now(UTC))
    click.echo(f"import {number} is withdrawn\n{describe_retold(retold)}")


@click.command("restore")
@click.argument("number", metavar="N", type=int)
@click.pass_obj
def restore_command(data: Path, number: int) -> None:
    """Let import N, which was withdrawn, count again, in its old place."""
    _, engine = open_store(data)
    with writing(engine) as connection, refusing():
        retold = restore(connection, number, datetime.now(UTC))
    click.echo(f"import {number} is restored\n{describe_retold(retold)}")
