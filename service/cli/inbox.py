"""digseason inbox"""

from __future__ import annotations

import time
from pathlib import Path

import click

from service.cli.options import wrap_text
from service.intake.inbox import empty_inbox
from service.intake.resting import Resting
from service.wiring import open_store

LISTED = 8  # lines of a file's report


@click.command("inbox")
@click.pass_context
def command(ctx: click.Context) -> None:
    """Import what lies in the inbox, once: files in DATA/inbox/LOGGER.

    Waits some seconds to see what is still written to, which stays; each other file is moved to
    done/ or refused/ beside it, with a report. `digseason serve` does the same by itself. Ends with
    1 where something was rejected, refused or is of no logger.
    """
    data: Path = ctx.obj
    settings, engine = open_store(data)
    resting = Resting()
    files = {file.name: file for file in empty_inbox(engine, settings, resting)}
    if any(file.fate == "changing" for file in files.values()):
        wait_s = settings.inbox_settled_s
        click.echo(f"waits {wait_s:g} s to see what is still written to", err=True)
        time.sleep(wait_s)
        files |= {file.name: file for file in empty_inbox(engine, settings, resting)}
    for file in files.values():
        click.echo(f"{file.name}: {file.fate}")
        for line in file.lines[:LISTED]:
            click.echo("\n".join(wrap_text(line, 2)))
        if len(file.lines) > LISTED:
            click.echo(f"  and {len(file.lines) - LISTED} more lines in its report")
    if not files:
        click.echo(f"nothing waits in {settings.inbox}")
    ctx.exit(0 if all(file.is_clean for file in files.values()) else 1)
