"""digseason round"""

from __future__ import annotations

from collections import Counter
from datetime import UTC, date, datetime
from itertools import groupby
from pathlib import Path

import click
from sqlalchemy import Engine

from alerts.figures import show_depths, show_source
from service.cli.options import DAY, as_of_option, wrap_text
from service.cli.progress import progress_bar
from service.cli.sending_words import describe_bounces, describe_delivery
from service.fetches import fetch_due, make_fetcher
from service.rehearsal import SUMMARY, NoRehearsalError, find_days, rehearse
from service.rounds import run_round
from service.settings import Settings
from service.showing import count_text
from service.store.engine import reading
from service.wiring import open_store

LISTED = 60


@click.command("round")
@as_of_option
@click.option("--rehearse", "season", type=int, metavar="SEASON", help="Play a past season.")
@click.option("--to", "folder", type=click.Path(path_type=Path), help="Where to, a new folder.")
@click.option("--since", type=DAY, metavar="DATE", help="Play from this day on.")
@click.option("--until", type=DAY, metavar="DATE", help="Play up to this day.")
@click.pass_obj
def command(
    data: Path,
    as_of: date | None,
    season: int | None,
    folder: Path | None,
    since: date | None,
    until: date | None,
) -> None:
    """Fetch the stations that are due; evaluate all blocks, note what changed, compose and deliver
    the digests.

    With --as-of nothing is fetched. With --rehearse all that would have been told in a season is
    written to a folder, day by day; nothing is sent, and the store stays as it is.
    """
    settings, engine = open_store(data)
    if season is not None:
        if as_of is not None:
            raise click.UsageError("--rehearse has days of its own; leave out --as-of")
        folder = folder or settings.data / f"rehearsal-{season}"
        _rehearse(engine, settings, season, since, until, folder)
        return
    if folder or since or until:
        raise click.UsageError("--to, --since and --until go with --rehearse SEASON")
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


def _rehearse(
    engine: Engine,
    settings: Settings,
    season: int,
    since: date | None,
    until: date | None,
    folder: Path,
) -> None:
    try:
        with reading(engine) as connection:
            days = find_days(connection, season, since, until, datetime.now(UTC))
        with progress_bar(f"season {season}") as progress:
            told = rehearse(engine, settings, days, folder, progress)
    except NoRehearsalError as error:
        raise click.UsageError(str(error)) from None
    except OSError as error:
        raise click.UsageError(f"{folder} cannot be written: {error.strerror}") from None
    messages = {
        key: list(group) for key, group in groupby(told, lambda one: (one.told_on, one.recipient))
    }
    for (told_on, name), group in list(messages.items())[:LISTED]:
        channels = " and ".join(dict.fromkeys(one.channel for one in group))
        said = dict.fromkeys(one.message for one in group if one.channel == group[0].channel)
        line = f"{told_on}  {name}, {channels}: {'; '.join(said)}"
        click.echo("\n".join(wrap_text(line, 0)))
    if len(messages) > LISTED:
        click.echo(f"and {len(messages) - LISTED:,} more, in {folder / SUMMARY}")
    counted = f"{count_text(len(days), 'day')}, {count_text(len(told), 'message')} to"
    people = count_text(len({one.recipient for one in told}), "reader")
    click.echo("\n".join(wrap_text(f"{counted} {people}, in {folder}; nothing was sent", 0)))
