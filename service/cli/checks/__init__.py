"""digseason checks: which readings are flagged and why, and a person's word over that."""

from __future__ import annotations

from service.cli.checks.listing import command
from service.cli.checks.overruling import list_command, overrule_command, withdraw_command

for subcommand in (overrule_command, withdraw_command, list_command):
    command.add_command(subcommand)

__all__ = ["command"]
