"""digseason checks overrule, withdraw and overrules"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from probes.frames import FAIL, GOOD
from service.cli.checks.words import FLAGS, find_probes, instant_text, need_logger
from service.cli.options import (
    check_line,
    format_options,
    instant_type,
    person_option,
    print_records,
    why_option,
    wrap_text,
)
from service.overruling import UnknownOverruleError, overrule, withdraw
from service.store.engine import reading, writing
from service.store.frozen import FrozenError
from service.store.overrules import Overrule, fetch_overrules
from service.wiring import open_store

VERDICTS = {"good": GOOD, "fail": FAIL}
COLUMNS = (
    *("number", "logger", "channel", "first_at", "last_at", "flag"),
    *("note", "person", "made_at", "withdrawn_at", "withdrawn_by", "withdrawn_why"),
)


@click.command("overrule")
@click.argument("verdict", type=click.Choice(list(VERDICTS)))
@click.option("--logger", "logger_id", metavar="ID", required=True)
@click.option("--depth", "depth_cm", metavar="CM", type=float, required=True)
@click.option("--channel", metavar="NAME", help="Where several probes lie at that depth.")
@click.option("--since", "first_at", type=instant_type, metavar="TIME", required=True)
@click.option("--until", "last_at", type=instant_type, metavar="TIME", required=True)
@click.option("--note", metavar="TEXT", required=True, callback=check_line, help="What was seen.")
@person_option
@click.pass_obj
def overrule_command(
    data: Path,
    verdict: str,
    logger_id: str,
    depth_cm: float,
    channel: str | None,
    first_at: datetime,
    last_at: datetime,
    note: str,
    person: str,
) -> None:
    """Say that the readings of a probe are good, or fail, whatever the checks say.

    From one time to another, both among them. What the checks found stays to be seen; daily means
    and windows follow, and the next round corrects what was told.
    """
    if last_at < first_at:
        raise click.BadParameter("lies before --since", param_hint="--until")
    _, engine = open_store(data)
    with writing(engine) as connection:
        logger = need_logger(connection, logger_id, lock=True)
        probes = find_probes(logger, depth_cm)
        probes = [probe for probe in probes if channel in (None, probe.channel)]
        if len(probes) != 1:
            known = ", ".join(probe.channel for probe in find_probes(logger, depth_cm))
            raise click.BadParameter(f"write one of {known}", param_hint="--channel")
        (probe,) = probes
        ends, now = (first_at, last_at), datetime.now(UTC)
        try:
            number = overrule(connection, logger, probe, ends, VERDICTS[verdict], note, person, now)
        except FrozenError as error:
            raise click.BadParameter(str(error), param_hint="--until") from None
    click.echo(f"overrule {number}: the readings are {verdict}")


@click.command("withdraw")
@click.argument("number", metavar="N", type=int)
@person_option
@why_option
@click.pass_obj
def withdraw_command(data: Path, number: int, person: str, why: str) -> None:
    """Take overrule N back: the checks decide again."""
    _, engine = open_store(data)
    with writing(engine) as connection:
        try:
            withdraw(connection, number, person, why, datetime.now(UTC))
        except (UnknownOverruleError, FrozenError) as error:
            raise click.BadParameter(str(error), param_hint="N") from None
    click.echo(f"overrule {number} is withdrawn")


@click.command("overrules")
@click.option("--logger", "logger_id", metavar="ID", help="One logger; all unless given.")
@format_options
@click.pass_obj
def list_command(data: Path, logger_id: str | None, form: str | None) -> None:
    """List what people have said over the checks, the withdrawn too."""
    _, engine = open_store(data)
    with reading(engine) as connection:
        if logger_id:
            need_logger(connection, logger_id)
        found = fetch_overrules(connection, [logger_id] if logger_id else [])
    if form:
        print_records(map(_record, found), form, COLUMNS)
        return
    click.echo("\n".join(_describe(found)) or "No one has overruled the checks.")


def _record(one: Overrule) -> dict[str, Any]:
    return {
        "number": one.id,
        "logger": one.logger_id,
        "channel": one.channel,
        "first_at": instant_text(one.first_at),
        "last_at": instant_text(one.last_at),
        "flag": one.flag,
        "note": one.note,
        "person": one.person,
        "made_at": instant_text(one.made_at),
        "withdrawn_at": instant_text(one.withdrawn_at),
        "withdrawn_by": one.withdrawn_by,
        "withdrawn_why": one.withdrawn_why,
    }


def _describe(found: Sequence[Overrule]) -> list[str]:
    lines = []
    for one in found:
        ends = " to ".join(f"{end:%Y-%m-%d %H:%M}" for end in (one.first_at, one.last_at))
        verdict = f"{FLAGS[one.flag]}{' (withdrawn)' if one.withdrawn_at else ''}"
        head = f"{one.id:>6}  {one.logger_id} {one.channel}, {ends} UTC: {verdict}"
        lines += [*wrap_text(head, 0), *wrap_text(f"{one.person}: {one.note}", 8)]
        if one.withdrawn_at and one.withdrawn_by:
            who = f"withdrawn {one.withdrawn_at:%Y-%m-%d} by {one.withdrawn_by}"
            lines += wrap_text(f"{who}: {one.withdrawn_why}", 8)
    return lines
