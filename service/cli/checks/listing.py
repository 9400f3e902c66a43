"""digseason checks"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from math import isnan
from typing import Any

import click
from sqlalchemy import Connection, select

from probes.checks import CHECKS, describe_thresholds
from service.cli.checks.words import FLAGS, depth_text, find_probes, instant_text, need_logger
from service.cli.options import format_options, instant_type, print_records, wrap_text
from service.flagged_spans import FlaggedSpan, find_flagged_spans
from service.flags import explain_flag
from service.store.checks import SiteChecks, fetch_site_checks, read_checks
from service.store.engine import reading
from service.store.frozen import describe_frozen
from service.store.loggers import Logger
from service.store.overrules import Overrule, fetch_holding
from service.store.readings import fetch_readings
from service.store.tables import logger as logger_table
from service.wiring import open_store

INSTANT = timedelta(microseconds=1)
SPANS = ("logger", "channel", "depth_cm", "first_at", "last_at", "readings", "flag", "tests")
REASONS = ("logger", "channel", "observed_at", "soil_temp_c", "flag", "test", "result", "why")
THRESHOLDS = ("threshold", "value", "is_default", "source", "meaning")


@click.group("checks", invoke_without_command=True)
@click.option("--logger", "logger_id", metavar="ID", help="One logger; all unless given.")
@click.option("--depth", "depth_cm", metavar="CM", type=float, help="One depth; all unless given.")
@click.option("--since", type=instant_type, metavar="TIME", help="From then on.")
@click.option("--until", type=instant_type, metavar="TIME", help="Up to then.")
@click.option("--at", type=instant_type, metavar="TIME", help="Explain the readings of then.")
@click.option("--thresholds", is_flag=True, help="Print every threshold and its source.")
@click.option("--site", "site_id", metavar="ID", help="The thresholds of one site.")
@format_options
@click.pass_context
def command(
    ctx: click.Context,
    logger_id: str | None,
    depth_cm: float | None,
    since: datetime | None,
    until: datetime | None,
    at: datetime | None,
    thresholds: bool,
    site_id: str | None,
    form: str | None,
) -> None:
    """Show which readings are suspect or fail, and why.

    Readings are flagged, never changed: 1 good, 2 not evaluated, 3 suspect, 4 fail. With --logger
    and --at, each test of the readings of that time in words.
    """
    if ctx.invoked_subcommand is not None:
        return
    if (at or depth_cm is not None) and logger_id is None:
        raise click.UsageError("say whose readings: --logger ID")
    if site_id and not thresholds:
        raise click.UsageError("--site goes with --thresholds")
    _, engine = open_store(ctx.obj)
    if thresholds:
        with reading(engine) as connection:
            of_site = fetch_site_checks(connection)
        if site_id and site_id not in of_site:
            known = ", ".join(sorted(of_site)) or "none yet, run setup first"
            raise click.BadParameter(f"no site '{site_id}'; known: {known}", param_hint="--site")
        _show_thresholds(of_site[site_id] if site_id else read_checks("standard", None), form)
        return
    with reading(engine) as connection:
        if at and logger_id:
            _explain(connection, need_logger(connection, logger_id), depth_cm, at, form)
            return
        ids = [logger_id] if logger_id else connection.scalars(_active()).all()
        spans: list[FlaggedSpan] = []
        for one in ids:
            logger = need_logger(connection, one)
            channels = {probe.channel for probe in find_probes(logger, depth_cm)}
            found = find_flagged_spans(connection, logger, since and since - INSTANT, until)
            spans += [span for span in found if span.channel in channels]
    _show_spans(spans, form)


def _active() -> Any:
    active = logger_table.c.retired_at.is_(None)
    return select(logger_table.c.id).where(active).order_by(logger_table.c.id)


def _show_spans(spans: Sequence[FlaggedSpan], form: str | None) -> None:
    if form:
        print_records(map(_span_record, spans), form, SPANS)
        return
    if not spans:
        click.echo("No reading is suspect or fails.")
        return
    click.echo(f"{'logger':<14}{'cm':>4}  {'from (UTC)':<18}{'to (UTC)':<18}{'readings':>8}")
    for span in spans:
        ends = "".join(f"{end:%Y-%m-%d %H:%M}  " for end in (span.first_at, span.last_at))
        row = f"{span.logger_id:<14}{depth_text(span.depth_cm):>4}  {ends}{span.readings:>8,}"
        why = f"{FLAGS[span.flag]}: {', '.join(map(_plain, span.tests))}"
        click.echo("\n".join([row, *wrap_text(why, 20)]))


def _span_record(span: FlaggedSpan) -> dict[str, Any]:
    return {
        "logger": span.logger_id,
        "channel": span.channel,
        "depth_cm": None if isnan(span.depth_cm) else span.depth_cm,
        "first_at": instant_text(span.first_at),
        "last_at": instant_text(span.last_at),
        "readings": span.readings,
        "flag": span.flag,
        "tests": " ".join(span.tests),
    }


def _explain(
    connection: Connection, logger: Logger, depth_cm: float | None, at: datetime, form: str | None
) -> None:
    records = list(_reasons(connection, logger, depth_cm, at))
    if not records:
        if logger.frozen_before and logger.frozen_until and at <= logger.frozen_until:
            why = f"{logger.id}: {describe_frozen(logger.frozen_before)}"
            raise click.BadParameter(why, param_hint="--at")
        raise click.BadParameter(
            f"{logger.id} has no reading at {instant_text(at)}; "
            f"`digseason readings --logger {logger.id} --csv` lists them",
            param_hint="--at",
        )
    if form:
        print_records(records, form, REASONS)
        return
    shown = ""
    for one in records:
        head = (
            f"{one['logger']} {one['channel']}, {one['observed_at']}: "
            f"{one['soil_temp_c']:g} °C, {FLAGS[one['flag']]}"
        )
        if head != shown:
            click.echo(head)
            shown = head
        why = f": {one['why']}" if one["why"] else ""
        click.echo("\n".join(wrap_text(f"{_plain(one['test'])}: {one['result']}{why}", 4)))


def _reasons(
    connection: Connection, logger: Logger, depth_cm: float | None, at: datetime
) -> Iterator[dict[str, Any]]:
    """Yield a record for each test of each reading, and one for a person's word."""
    holding = fetch_holding(connection, logger.id)
    for probe in find_probes(logger, depth_cm):
        found = fetch_readings(connection, probe.id, at - INSTANT, at)
        if not found.flag.size:
            continue
        of_reading = {
            "logger": logger.id,
            "channel": probe.channel,
            "observed_at": instant_text(at),
            "soil_temp_c": float(found.soil_temp_c[0]),
            "flag": int(found.flag[0]),
        }
        for one in holding[probe.channel]:
            if one.first_at <= at <= one.last_at:
                yield of_reading | _word(one)
        for test, result, why in explain_flag(connection, logger, probe, at):
            yield of_reading | {"test": test, "result": FLAGS[result], "why": why}


def _word(one: Overrule) -> dict[str, str]:
    why = f"no. {one.id} by {one.person}: {one.note}"
    return {"test": "overruled", "result": FLAGS[one.flag], "why": why}


def _show_thresholds(checks: SiteChecks, form: str | None) -> None:
    described = [
        replace(one, source="set in the farm file") if one.name in checks.set_here else one
        for one in describe_thresholds(checks.thresholds)
        if one.name.split(".")[0] in checks.tests
    ]
    if form:
        records = (
            {
                "threshold": one.name,
                "value": one.value,
                "is_default": one.is_default,
                "source": one.source,
                "meaning": one.meaning,
            }
            for one in described
        )
        print_records(records, form, THRESHOLDS)
        return
    click.echo(f"{'threshold':<32}{'value':>14}  where it comes from")
    for one in described:
        value = str(list(one.value)) if isinstance(one.value, tuple) else f"{one.value}"
        click.echo(f"{one.name:<32}{value:>14}  {one.source}")
    click.echo(
        f"\nThese are the checks {checks.name}; --site ID prints those of a site.\n"
        f"Ours has no source. With range-only: {', '.join(CHECKS['range-only'])} alone.\n"
        "--json says what each threshold is."
    )


def _plain(test: str) -> str:
    return test.replace("_", " ")
