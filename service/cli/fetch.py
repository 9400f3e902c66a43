"""digseason fetch"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, date, datetime
from typing import Any

import click
from sqlalchemy import Engine

from service.cli.options import DAY, wrap_text
from service.cli.progress import progress_bar
from service.cli.rejects import describe_rejects
from service.fetches import FetchReport, fetch_days, fetch_new, fetch_past, make_fetcher
from service.forecasts import fetch_forecast, make_forecast_fetcher
from service.intake.reports import COUNTS
from service.store.engine import reading
from service.store.forecasts import ForecastRow, fetch_forecast_sites
from service.store.stations import StationRow, UnknownStationError, fetch_stations
from service.wiring import open_store

LISTED = 20


@click.command("fetch")
@click.option("--station", "station_id", metavar="ID", help="One station; all unless given.")
@click.option("--since", type=DAY, metavar="DATE", help="From this day on, at the station's site.")
@click.option("--until", type=DAY, metavar="DATE", help="Up to the end of this day.")
@click.option(
    "--past", is_flag=True, help="All that there is, back to --since or to a station's beginning."
)
@click.option(
    "--list", "only_list", is_flag=True, help="Say how the stations stand; fetch nothing."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON list.")
@click.pass_context
def command(
    ctx: click.Context,
    station_id: str | None,
    since: date | None,
    until: date | None,
    past: bool,
    only_list: bool,
    as_json: bool,
) -> None:
    """Fetch what is new of the stations of public feeds, or the readings of some days.

    Goes on from the last reading, and asks again for the two weeks before it. --past goes back from
    the first one, some years at a time, and is taken up where it broke off. Without a station or
    days, forecasts of the air are fetched as well. `digseason serve` does the same by itself. Ends
    with 1 where a station or forecast failed, or a reading was rejected or conflicts with the one
    that is kept.
    """
    if past and until is not None:
        raise click.UsageError("--past goes back from the first reading; leave out --until")
    if since is not None and until is not None and since > until:
        raise click.UsageError("--since lies after --until")
    settings, engine = open_store(ctx.obj)
    try:
        with reading(engine) as connection:
            stations = fetch_stations(connection, station_id)
            sites = fetch_forecast_sites(connection)
    except UnknownStationError as error:
        raise click.BadParameter(str(error), param_hint="--station") from None
    if past or station_id is not None or since is not None or until is not None:
        sites = []
    if only_list:
        records = [*map(_standing, stations), *map(_forecast_standing, sites)]
        lines = [line for one in records for line in _describe_standing(one)]
        failed = any(one.failure for one in (*stations, *sites))
    else:
        records, lines, failed = [], [], False
        for report in _fetch(engine, settings.contact, stations, since, until, past):
            records.append(_record(report))
            told = [*_describe(report, with_span=past)]
            failed = failed or not _is_clean(report)
            if past and not as_json:  # it may take hours
                click.echo("\n".join(told))
            else:
                lines += told
        make = make_forecast_fetcher(settings.contact)
        for site in sites:
            forecast = fetch_forecast(engine, make, site, datetime.now(UTC))
            record = {"days": forecast.days, "failure": forecast.failure}
            records.append({"forecast_of": forecast.site_id, **record})
            said = f"failed: {forecast.failure}" if forecast.failure else f"{forecast.days} days"
            lines += wrap_text(f"air forecast of {forecast.site_id}: {said}", 0)
            failed = failed or forecast.failure is not None
    if as_json:
        click.echo(json.dumps(records, indent=2, ensure_ascii=False))
    else:
        if not (records or lines):
            lines = ["No stations yet: a farm file names them, [[station]]."]
        if lines:
            click.echo("\n".join(lines))
    ctx.exit(1 if failed else 0)


def _fetch(
    engine: Engine,
    contact: str,
    stations: list[StationRow],
    since: date | None,
    until: date | None,
    past: bool,
) -> Iterator[FetchReport]:
    make = make_fetcher(contact)
    for station in stations:
        now = datetime.now(UTC)
        with progress_bar(station.id) as progress:
            if past:
                yield from fetch_past(engine, make, station, since, now, progress)
            elif since is None and until is None:
                yield fetch_new(engine, make, station, now, progress)
            else:
                yield fetch_days(engine, make, station, since, until, now, progress)


def _is_clean(report: FetchReport) -> bool:
    readings = report.readings
    return not (report.failure or readings.rejects or readings.conflicting)


def _record(report: FetchReport) -> dict[str, Any]:
    return {
        "station": report.station_id,
        "since": report.span.since.isoformat(),
        "until": report.span.until.isoformat(),
        **{name: getattr(report.readings, name) for name in COUNTS},
        "rejects": [vars(reject) for reject in report.readings.rejects],
        "signs": report.readings.signs,
        "failure": report.failure,
    }


def _describe(report: FetchReport, with_span: bool) -> Iterator[str]:
    """Give a line for a station's readings, and what of them does not count."""
    readings = report.readings
    name = report.station_id
    if with_span:
        name += f", {report.span.since:%Y-%m-%d} to {report.span.until:%Y-%m-%d}"
    counts = [f"{getattr(readings, name):,} {name}" for name in COUNTS if getattr(readings, name)]
    if report.failure and not counts:
        yield from wrap_text(f"{name}: failed: {report.failure}", 0)
        return
    yield from wrap_text(f"{name}: {', '.join(counts) or 'nothing new'}", 0)
    if report.failure:
        yield from wrap_text(f"failed: {report.failure}", 2)
    for sign in readings.signs:
        yield from wrap_text(f"sign of a wrong clock or unit: {sign}", 2)
    if readings.rejects:
        yield "  rejected"
    yield from describe_rejects(readings.rejects)
    for one in readings.conflicts[:LISTED]:
        when = f"{one.channel}, {one.observed_at:%Y-%m-%d %H:%M} UTC"
        yield from wrap_text(
            f"revised: {when}: {one.kept_c:.6g} °C is kept, not {one.other_c:.6g} °C", 2
        )


def _standing(station: StationRow) -> dict[str, Any]:
    """Return how a station's feed stands."""
    return {
        "station": station.id,
        "site": station.site_name,
        "feed": station.feed,
        **_instants(station),
        "failure": station.failure,
    }


def _forecast_standing(site: ForecastRow) -> dict[str, Any]:
    """Return how the forecast of a site's air stands."""
    return {
        "forecast_of": site.site_id,
        "site": site.site_name,
        "feed": site.spec["feed"],
        **_instants(site),
        "failure": site.failure,
    }


def _instants(one: StationRow | ForecastRow) -> dict[str, str | None]:
    names = ("attempted_at", "fetched_at", "failing_since")
    return {name: (at := getattr(one, name)) and at.isoformat() for name in names}


def _describe_standing(one: dict[str, Any]) -> Iterator[str]:
    fetched = f"fetched {_minute(one['fetched_at'])}" if one["fetched_at"] else "not fetched yet"
    name = one.get("station") or f"air forecast of {one['forecast_of']}"
    yield from wrap_text(f"{name}, {one['site']} ({one['feed']}): {fetched}", 0)
    if one["failure"]:
        yield from wrap_text(f"failing since {_minute(one['failing_since'])}: {one['failure']}", 2)


def _minute(instant: str) -> str:
    return f"{datetime.fromisoformat(instant):%Y-%m-%d %H:%M} UTC"
