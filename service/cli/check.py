"""digseason check"""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime
from textwrap import wrap

import click

from service.cli.options import WIDTH, format_options, print_records
from service.watching.checkup import Finding, check_service
from service.wiring import open_store

MARGIN = 18


@click.command("check")
@format_options
@click.pass_context
def command(ctx: click.Context, form: str | None) -> None:
    """Look after Digseason itself: store, disk, clock, rounds, feeds, what waits to be sent.

    Each line is fine or wants a look, and then says what to do. Ends with 1 where one wants a look.
    """
    settings, engine = open_store(ctx.obj)
    findings = check_service(engine, settings, datetime.now(UTC))
    if form:
        print_records(map(asdict, findings), form, tuple(Finding.__dataclass_fields__))
    else:
        for one in findings:
            _show(one)
    ctx.exit(1 if any(one.remedy for one in findings) else 0)


def _show(one: Finding) -> None:
    head = f"{'look' if one.remedy else 'fine'}  {one.what}"
    for text in (one.said, one.remedy):
        for line in wrap(text or "", WIDTH - MARGIN):
            click.echo(f"{head:<{MARGIN}}{line}")
            head = ""
