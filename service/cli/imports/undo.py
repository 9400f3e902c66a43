"""digseason imports withdraw, imports restore and imports reread"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import click

from service.cli.imports.words import describe_batch, describe_retold
from service.cli.options import person_option, why_option, wrap_text
from service.intake.rereading import Reread, reread
from service.intake.undoing import ImportStandsError, restore, withdraw
from service.store.engine import writing
from service.store.frozen import FrozenError
from service.store.imports import UnknownImportError, fetch_batch
from service.store.loggers import UnknownLoggerError
from service.wiring import open_store


@contextmanager
def refusing() -> Iterator[None]:
    """Turn what cannot be done into wrong use."""
    try:
        yield
    except (UnknownImportError, ImportStandsError, FrozenError) as error:
        raise click.BadParameter(str(error), param_hint="N") from None
    except UnknownLoggerError as error:
        raise click.BadParameter(str(error), param_hint="--logger") from None


@click.command("withdraw")
@click.argument("number", metavar="N", type=int)
@person_option
@why_option
@click.pass_obj
def withdraw_command(data: Path, number: int, person: str, why: str) -> None:
    """Take import N back: everything becomes as if it had never come in.

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
        retold = restore(connection, number)
    click.echo(f"import {number} is restored\n{describe_retold(retold)}")


@click.command("reread")
@click.argument("numbers", metavar="[N...]", type=int, nargs=-1)
@click.option("--logger", "logger_id", metavar="ID", help="All imports of a logger.")
@click.option("--keep-layout", is_flag=True, help="Take only the clock corrections of now.")
@click.option("--dry-run", is_flag=True, help="Say what would change; write nothing.")
@click.pass_context
def reread_command(
    ctx: click.Context,
    numbers: tuple[int, ...],
    logger_id: str | None,
    keep_layout: bool,
    dry_run: bool,
) -> None:
    """Read what imports held again, by the layout and the clock corrections of now.

    For a layout that was wrong when files came in, or a clock found wrong later. Ends with 1 where
    the layout of now refuses a file: that one stays as it was read.
    """
    if bool(numbers) == (logger_id is not None):
        raise click.UsageError("name either imports or a --logger")
    _, engine = open_store(ctx.obj)
    with writing(engine) as connection, refusing(), connection.begin_nested() as whole:
        if logger_id is None:
            logger_id = fetch_batch(connection, numbers[0]).logger_id
        rereads, retold = reread(connection, logger_id, numbers, keep_layout)
        if dry_run:
            whole.rollback()
    click.echo("\n".join(_describe(rereads)) or "no import stands")
    click.echo(describe_retold(retold))
    if dry_run:
        click.echo("\nDry run: nothing was written.")
    ctx.exit(1 if any(one.refused for one in rereads) else 0)


def _describe(rereads: Sequence[Reread]) -> Iterator[str]:
    """Give a line for each import, and what it came to where that is otherwise."""
    for one in rereads:
        before, after = (" ".join(describe_batch(batch)) for batch in (one.before, one.after))
        title = f"import {one.before.id}, {one.before.file}"
        if one.refused:
            yield from wrap_text(f"{title}: stays as it was: {one.refused}", 0)
        elif before == after:
            yield from wrap_text(f"{title}: {after}, as before", 0)
            if one.before.source == "feed":
                yield from wrap_text(
                    "Of a station only readings are kept, with no layout; withdraw the import "
                    "and `digseason fetch --since DAY` to ask its network anew",
                    2,
                )
        else:
            yield from wrap_text(f"{title}: {after}", 0)
            yield from wrap_text(f"before: {before}", 2)
