"""digseason keep"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import click

from service.cli.options import format_options, print_records, wrap_text
from service.cli.progress import progress_bar
from service.retention import Gone, LoggerShare, check_retention, find_shares, let_go
from service.showing import count_text
from service.store.engine import reading
from service.store.frozen import FrozenError, describe_frozen, fetch_frozen
from service.wiring import open_store

PERIOD = re.compile(r"(\d{1,4})([ymd])")
SHOWN = ("logger", "first_at", "readings", "deliveries", "bytes")


@click.command("keep")
@click.option(
    "--readings-for",
    "period",
    metavar="PERIOD",
    help="3y, 30m or 800d: of older readings only daily means are kept.",
)
@click.option("--discard", is_flag=True, help="Let them go; without it nothing is changed.")
@format_options
@click.pass_obj
def command(data: Path, period: str | None, discard: bool, form: str | None) -> None:
    """Say how long readings are kept, or let old ones go and keep their daily means.

    Windows, root zones, outlooks and curves rest on daily means and stay exactly as they are. Gone
    for good are the readings, and the files and pushes that hold nothing later: make a backup
    first. What lies before can then be neither imported nor withdrawn, settled, overruled or read
    again. Never done unless you ask for it.
    """
    if discard and (period is None or form):
        raise click.UsageError("--discard goes with --readings-for, and with nothing else")
    _, engine = open_store(data)
    now = datetime.now(UTC)
    if period is None:
        with reading(engine) as connection:
            before = fetch_frozen(connection)
        kept = describe_frozen(before).capitalize() if before else "All readings are kept"
        click.echo(f"{kept}.")
        return
    before = _find_first_day(period, now.date())
    with reading(engine) as connection:
        try:
            check_retention(connection, before, now.date())
        except FrozenError as error:
            raise click.BadParameter(str(error), param_hint="--readings-for") from None
        shares = [] if discard else list(find_shares(connection, before))
    if form:
        print_records(map(_record, shares), form, SHOWN)
    elif discard:
        with progress_bar("readings") as progress:
            _show_gone(let_go(engine, before, now, progress), before)
    else:
        _show_plan(shares, before, period)


def _find_first_day(period: str, today: date) -> date:
    found = PERIOD.fullmatch(period.strip().lower())
    if found is None:
        raise click.BadParameter(
            f"'{period}' is no period; write 3y, 30m or 800d", param_hint="--readings-for"
        )
    count, unit = int(found[1]), found[2]
    if unit == "d":
        return today - timedelta(days=count)
    months = 12 * today.year + today.month - 1 - count * (12 if unit == "y" else 1)
    return date(max(1, months // 12), months % 12 + 1, 1)


def _show_plan(shares: list[LoggerShare], before: date, period: str) -> None:
    if not shares:
        click.echo(f"No reading is from before {before}: nothing would go.")
        return
    click.echo(f"{'logger':<20}{'first':<12}{'readings':>14}{'imports':>16}{'MB':>10}")
    for one in shares:
        size = f"{one.content_bytes / 1e6:,.2f}"
        first = f"{one.first_at:%Y-%m-%d}"
        row = f"{one.logger_id:<20}{first:<12}{one.readings:>14,}{one.deliveries:>16,}{size:>10}"
        click.echo(row)
    told = (
        f"{count_text(sum(one.readings for one in shares), 'reading')} from before {before} would "
        "go, and the files and pushes of these imports; their daily means stay. Nothing has been "
        f"changed. `digseason backup FILE` keeps all of it; then `digseason keep --readings-for "
        f"{period} --discard` lets it go."
    )
    click.echo("\n".join(wrap_text(told, 0)))


def _show_gone(gone: Gone, before: date) -> None:
    told = (
        f"{count_text(gone.readings, 'reading')} gone, and the content of "
        f"{count_text(gone.deliveries, 'import')}. From now on "
        f"{describe_frozen(before)}. The store uses the room for what is to come; a restored "
        "backup is smaller."
    )
    click.echo("\n".join(wrap_text(told, 0)))


def _record(one: LoggerShare) -> dict[str, object]:
    values = (one.logger_id, one.first_at.isoformat(), one.readings, one.deliveries)
    return dict(zip(SHOWN, (*values, one.content_bytes), strict=True))
