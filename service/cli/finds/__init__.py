"""digseason finds: what digging showed."""

from __future__ import annotations

import click

from service.cli.finds.adding import add_command, import_command, photo_command
from service.cli.finds.agreeing import agree_command, agreed_command
from service.cli.finds.by_window import by_window_command
from service.cli.finds.listing import export_command, list_command
from service.cli.finds.withdrawing import withdraw_command


@click.group("finds")
def command() -> None:
    """Keep what digging at vines showed, and list it."""


for subcommand in (
    *(add_command, import_command, photo_command),
    *(list_command, export_command, withdraw_command),
    *(agree_command, agreed_command),
    by_window_command,
):
    command.add_command(subcommand)
