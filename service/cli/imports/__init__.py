"""digseason imports: what came when, what of it counts, and how it is taken back."""

from __future__ import annotations

from service.cli.imports.conflicts import conflicts_command, settle_command, unsettle_command
from service.cli.imports.listing import command, show_command
from service.cli.imports.undo import reread_command, restore_command, withdraw_command

for subcommand in (
    *(show_command, withdraw_command, restore_command, reread_command),
    *(conflicts_command, settle_command, unsettle_command),
):
    command.add_command(subcommand)

__all__ = ["command"]
