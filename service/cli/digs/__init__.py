"""digseason digs: how many vines to dig, which ones, on which days."""

from __future__ import annotations

import click

from service.cli.digs.plan import plan_command


@click.group("digs")
def command() -> None:
    """Plan digs: how many vines, and what they can show."""


command.add_command(plan_command)
