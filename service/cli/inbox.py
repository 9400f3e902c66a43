"""digseason inbox"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click

from service.cli.options import wrap_text
from service.intake.inbox import empty_inbox
from service.wiring import open_store

LISTED = 8  # lines of a file's report


@click.command("inbox")
@click.pass_context
def command(ctx: click.Context) -> None:
    """Import what lies in the inbox, once: files in DATA/inbox/LOGGER.

    Each is moved to done/ or refused/ beside it, with a report; `digseason serve` does the same by
    itself. Ends with 1 where something was rejected, refused or is of no logger.
    """
    data: Path = ctx.obj
    settings, engine = open_store(data)
    files = empty_inbox(engine, settings, datetime.now(UTC))
    for file in files:
        click.echo(f"{file.name}: {file.fate}")
        for line in file.lines[:LISTED]:
            click.echo("\n".join(wrap_text(line, 2)))
        if len(file.lines) > LISTED:
            click.echo(f"  and {len(file.lines) - LISTED} more lines in its report")
    if not files:
        click.echo(f"nothing waits in {settings.inbox}")
    ctx.exit(0 if all(file.is_clean for file in files) else 1)
