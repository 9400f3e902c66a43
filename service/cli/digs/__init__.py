"""digseason digs: how many vines to dig, which ones, on which days."""

from __future__ import annotations

import click

from service.cli.digs.aside import set_aside_command, take_back_command
from service.cli.digs.days import days_command
from service.cli.digs.draw import draw_command
from service.cli.digs.plan import plan_command
from service.cli.digs.sheet import sheet_command
from service.cli.digs.surveys import drop_survey_command


@click.group("digs")
def command() -> None:
    """Plan digs: how many vines and where, and what they can show."""


for subcommand in (
    *(plan_command, draw_command, days_command, sheet_command),
    *(set_aside_command, take_back_command, drop_survey_command),
):
    command.add_command(subcommand)
