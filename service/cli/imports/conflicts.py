"""digseason imports conflicts, and imports settle"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from itertools import groupby
from pathlib import Path
from typing import Any

import click

from service.cli.imports.words import conflict_record, describe_conflicts, describe_retold
from service.cli.options import Command, format_options, instant_type, person_option, print_records
from service.intake.settling import Keep, NoWordError, settle, unsettle
from service.store.engine import reading, writing
from service.store.loggers import UnknownLoggerError
from service.store.settlements import Conflict, Selection, fetch_conflicts
from service.wiring import open_store

COLUMNS = (
    *("logger", "channel", "observed_at", "kept_c", "kept_import"),
    *("other_c", "other_import", "settled_by"),
)


@click.command("conflicts")
@click.option("--logger", "logger_id", metavar="ID", help="One logger; all unless given.")
@format_options
@click.pass_obj
def conflicts_command(data: Path, logger_id: str | None, form: str | None) -> None:
    """List readings of which two values came: the one that is kept, and the other."""
    _, engine = open_store(data)
    with reading(engine) as connection:
        conflicts = fetch_conflicts(connection, logger_id=logger_id)
    if form:
        print_records(map(conflict_record, conflicts), form, COLUMNS)
        return
    click.echo("\n".join(_describe(conflicts)) or "No conflicts.")


def _describe(conflicts: list[Conflict]) -> Iterator[str]:
    for logger_id, of_logger in groupby(conflicts, lambda one: one.logger_id):
        yield logger_id
        yield from describe_conflicts(list(of_logger))


def _selecting(command: Command) -> Command:
    """Add the options that say which conflicts."""
    for option in (
        click.option("--until", "last_at", type=instant_type, metavar="TIME", help="Up to then."),
        click.option(
            "--since", "first_at", type=instant_type, metavar="TIME", help="From then on."
        ),
        click.option("--channel", metavar="NAME", help="One channel; all unless given."),
        click.option("--import", "number", metavar="N", type=int, help="Of one import."),
        click.option("--logger", "logger_id", metavar="ID", required=True),
    ):
        command = option(command)
    return command


@click.command("settle")
@_selecting
@click.option(
    "--keep",
    type=click.Choice(["other", "kept"]),
    default="other",
    show_default=True,
    help="The value that came later, or the one that is kept now.",
)
@person_option
@click.pass_obj
def settle_command(
    data: Path, logger_id: str, number: int | None, keep: Keep, person: str, **where: Any
) -> None:
    """Say which value of conflicting readings is kept, whatever comes later.

    With --import the value of that import. Daily means and windows follow, and the next round
    corrects what was told.
    """
    by = {"met_by" if keep == "other" else "kept_by": number}
    of = Selection(**by, **where)
    _, engine = open_store(data)
    with writing(engine) as connection, _refusing():
        count, retold = settle(connection, logger_id, of, keep, person, datetime.now(UTC))
    click.echo(f"{_readings(count)} settled\n{describe_retold(retold)}")


@click.command("unsettle")
@_selecting
@click.pass_obj
def unsettle_command(data: Path, logger_id: str, number: int | None, **where: Any) -> None:
    """Take back what was settled: the value that came first is kept."""
    _, engine = open_store(data)
    with writing(engine) as connection, _refusing():
        of = Selection(told_by=number, **where)
        count, retold = unsettle(connection, logger_id, of)
    click.echo(f"{_readings(count)} no longer settled\n{describe_retold(retold)}")


def _readings(count: int) -> str:
    return "1 reading is" if count == 1 else f"{count:,} readings are"


@contextmanager
def _refusing() -> Iterator[None]:
    try:
        yield
    except UnknownLoggerError as error:
        raise click.BadParameter(str(error), param_hint="--logger") from None
    except NoWordError as error:
        raise click.UsageError(str(error)) from None
