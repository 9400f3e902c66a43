"""digseason loggers"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import click

from alerts.silence import Standing
from service.cli.options import format_options, print_records
from service.listening import Key, Listened, find_depth_cm, listen
from service.store.engine import reading
from service.store.sources import fetch_sources
from service.wiring import open_store

COLUMNS = (
    *("logger", "site", "depth_cm", "last_reading_at"),
    *("usual_interval_h", "silent_factor", "silent_since", "download_due_at"),
)
HOUR = timedelta(hours=1)


@click.command("loggers")
@format_options
@click.pass_obj
def command(data: Path, form: str | None) -> None:
    """List loggers and stations: the last usable reading of each (UTC), how often something usually
    comes of it, and since when it is silent or when it has to be emptied.

    Of its probes those are shown that have stopped while others go on; --json and --csv give all.
    "late at 5 x" is how many times that interval it may be late, where the farm file says it.
    """
    settings, engine = open_store(data)
    now = datetime.now(UTC)
    with reading(engine) as connection:
        records = [
            record
            for source in fetch_sources(connection)
            for record in _describe(listen(connection, source), now, settings.silent_factor)
        ]
    if form:
        print_records(records, form, COLUMNS)
        return
    click.echo(f"{'logger':<16}{'site':<14}{'last reading, UTC':<19}usually")
    for record in records:
        if record["depth_cm"] is None or record["silent_since"]:
            click.echo(_line(record, settings.silent_factor))


def _describe(listened: Listened, now: datetime, factor: float) -> Iterator[dict[str, Any]]:
    """Yield a record of a logger, then one of each of its probes, by depth."""
    heard = listened.heard
    standings = listened.find_standings(now, factor)
    factor = listened.source.silent_factor or factor
    usual = heard and heard.cadence and heard.cadence.every
    yield _record(listened, None, now, standings.pop(None, None), usual, factor)
    of_probes = [
        _record(listened, key, now, standing, heard.probes[key].every, factor)
        for key, standing in standings.items()
        if heard and key is not None
    ]
    yield from sorted(of_probes, key=lambda record: record["depth_cm"])


def _record(
    listened: Listened,
    key: Key,
    now: datetime,
    standing: Standing | None,
    usual: timedelta | None,
    factor: float,
) -> dict[str, Any]:
    newest_at = standing and standing.newest_at
    is_emptied = standing is not None and standing.kind == "due"
    is_silent = standing is not None and standing.is_silent
    return {
        "logger": listened.source.id,
        "site": listened.source.site_id,
        "depth_cm": find_depth_cm(listened.logger, key, now),
        "last_reading_at": _text(newest_at),
        "usual_interval_h": usual and round(usual / HOUR, 2),
        "silent_factor": factor,
        "silent_since": _text(newest_at) if is_silent and not is_emptied else None,
        "download_due_at": standing and _text(standing.silent_from) if is_emptied else None,
    }


def _line(record: dict[str, Any], factor: float) -> str:
    depth_cm, due_at = record["depth_cm"], record["download_due_at"]
    name = record["logger"] if depth_cm is None else f"  {depth_cm:g} cm"
    last = (record["last_reading_at"] or "none yet")[:16].replace("T", " ")
    says: list[str] = []
    if due_at:
        says = [f"empty by {due_at[:10]}"]
    elif record["silent_since"]:
        says = ["silent"]
    if not due_at and record["silent_factor"] != factor:
        says.append(f"late at {record['silent_factor']:g} x")
    usual = _interval(record["usual_interval_h"])
    return f"{name:<16}{record['site']:<14}{last:<19}{usual:<11}{', '.join(says)}".rstrip()


def _interval(hours: float | None) -> str:
    """Return "every 30 d"."""
    if hours is None:
        return "-"
    if hours >= 48:
        return f"every {hours / 24:.0f} d"
    return f"every {hours:.0f} h" if hours >= 1 else f"every {hours * 60:.0f} min"


def _text(instant: datetime | None) -> str | None:
    return f"{instant:%Y-%m-%dT%H:%M:%SZ}" if instant else None
