"""digseason round"""

from __future__ import annotations

from collections import Counter
from datetime import UTC, date, datetime
from pathlib import Path

import click

from alerts.figures import show_depths, show_source
from service.cli.options import as_of_option, wrap_text
from service.cli.sending_words import describe_bounces, describe_delivery
from service.fetches import fetch_due, make_fetcher
from service.rounds import run_round
from service.showing import count_text
from service.wiring import open_store


@click.command("round")
@as_of_option
@click.pass_obj
def command(data: Path, as_of: date | None) -> None:
    """Fetch the stations that are due; evaluate all blocks, note what changed, compose and deliver
    the digests.

    With --as-of nothing is fetched.
    """
    settings, engine = open_store(data)
    if as_of is None:
        for fetched in fetch_due(engine, make_fetcher(settings.contact), datetime.now(UTC)):
            new = count_text(fetched.readings.inserted, "new reading")
            click.echo(f"{fetched.station_id}: {fetched.failure or new}")
    report = run_round(engine, settings, datetime.now(UTC), as_of)
    states = Counter(one.state for one in report.evaluations)
    counted = ", ".join(f"{count} {state}" for state, count in states.most_common())
    click.echo(f"{count_text(len(report.evaluations), 'block')}: {counted or 'run setup first'}")
    for notice in report.notices:
        told = f"{notice.block_name} ({notice.block_id}): {notice.kind} {notice.what}"
        if notice.carried:
            told += f", estimated from {show_depths(notice.basis_cm, 'en')}"
        if notice.borrowed:
            told += f", {show_source(notice.borrowed, 'en')}"
        elif notice.estimated:
            told += ", date estimated"
        told += ", how it stands is not known" * notice.not_known
        click.echo("\n".join(wrap_text(told, 2)))
    for silence in report.silences:
        depth = "" if silence.depth_cm is None else f" at {silence.depth_cm:g} cm"
        click.echo(f"  {silence.logger_id}{depth} ({silence.site_name}): {silence.what}")
    if not report.notices and not report.silences:
        click.echo("  nothing new to tell")
    if report.advisory:
        held = f"advisory {report.advisory} waits for review: `digseason advisory show"
        click.echo(f"{held} {report.advisory}`")
    composed = f"{count_text(report.digests, 'digest')} composed"
    click.echo(f"{composed}, {count_text(len(report.delivery.sent), 'message')} delivered")
    for line in (*describe_bounces(report.bounces), *describe_delivery(report.delivery)):
        click.echo(line)
