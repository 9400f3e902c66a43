"""What the store says of a running Digseason, as metrics: asked for when they are read.

Names follow OpenMetrics: units in seconds and bytes, `_total` for what only grows. No query reads
more than what waits, fails or is named once; nobody is named.

References
----------
[OPENMETRICS] for names, types and units.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Mapping
from datetime import datetime
from importlib.metadata import version

from prometheus_client.core import (
    CounterMetricFamily,
    GaugeMetricFamily,
    InfoMetricFamily,
    Metric,
)
from sqlalchemy import Connection, func, select, text

from service.channels.choosing import CHANNELS
from service.settings import Settings
from service.store.channel_troubles import fetch_troubles
from service.store.holds import fetch_hold
from service.store.looks import fetch_last_look
from service.store.outbox import count_ended, fetch_waiting
from service.store.round_lease import LOOKING_AHEAD, ROUND, fetch_lease
from service.store.rounds import fetch_last_round
from service.store.schema import find_revision
from service.store.shared_clock import fetch_clock
from service.store.silences import fetch_silences
from service.store.stations import fetch_stations
from service.store.tables import logger, round_
from service.store.tallies import COUNTED, fetch_tallies

LEASES = {"round": ROUND, "look_ahead": LOOKING_AHEAD}


def find_figures(connection: Connection, settings: Settings, now: datetime) -> Iterator[Metric]:
    """Yield what the store comes to at a moment."""
    built = {
        "version": version("digseason"),
        "schema": find_revision(connection) or "",
        "database": connection.dialect.name,
    }
    yield InfoMetricFamily("digseason_build", "What runs.", value=built)
    yield from _find_rounds(connection)
    yield from _find_leases(connection)
    yield from _find_intake(connection)
    yield from _find_outbox(connection, now)
    yield from _find_feeds(connection)
    yield _gauge("digseason_store_size", "bytes", "The database.", _measure(connection))
    free = shutil.disk_usage(settings.data).free
    yield _gauge("digseason_disk_free", "bytes", "Free where the data folder lies.", free)


def _find_rounds(connection: Connection) -> Iterator[Metric]:
    begun = connection.scalar(select(func.max(round_.c.id))) or 0
    yield CounterMetricFamily("digseason_rounds", "Rounds that were begun.", value=begun)
    last, look = fetch_last_round(connection), fetch_last_look(connection)
    for name, one in (("round", last), ("look_ahead", look)):
        if one is None:
            continue
        began, took = f"digseason_{name}_last_started_timestamp", f"digseason_{name}_last_duration"
        yield _gauge(began, "seconds", "When the last good one began.", one.started_at.timestamp())
        yield _gauge(took, "seconds", "How long it took.", one.took_s)


def _find_leases(connection: Connection) -> Iterator[Metric]:
    held = GaugeMetricFamily(
        "digseason_lease_age",
        "Since when a process runs a round, or looks ahead; absent: none does.",
        labels=("lease", "host", "process"),
        unit="seconds",
    )
    now = fetch_clock(connection)
    for name, what in LEASES.items():
        lease = fetch_lease(connection, what)
        if lease is not None:
            age_s = (now - lease.since).total_seconds()
            held.add_metric((name, lease.host, str(lease.process)), age_s)
    yield held


def _find_intake(connection: Connection) -> Iterator[Metric]:
    deliveries = CounterMetricFamily(
        "digseason_deliveries", "Files, pushes, fetches and notes that came in.", labels=("source",)
    )
    readings = CounterMetricFamily(
        "digseason_readings",
        "Readings that came in, by what became of them.",
        labels=("source", "outcome"),
    )
    for row in fetch_tallies(connection):
        deliveries.add_metric((row.source,), row.deliveries)
        for outcome in COUNTED[1:]:
            readings.add_metric((row.source, outcome), getattr(row, outcome))
    yield from (deliveries, readings)
    active = select(func.count()).select_from(logger).where(logger.c.retired_at.is_(None))
    yield _gauge("digseason_loggers", "", "Loggers and stations.", connection.scalar(active) or 0)
    said = "Loggers and stations that are silent, in part or whole."
    yield _gauge("digseason_loggers_silent", "", said, len(fetch_silences(connection)))


def _find_outbox(connection: Connection, now: datetime) -> Iterator[Metric]:
    waiting = fetch_waiting(connection)
    age_s = (now - waiting.oldest_at).total_seconds() if waiting.oldest_at else 0
    yield _gauge("digseason_outbox_waiting", "", "Messages to be sent.", waiting.count)
    yield _gauge("digseason_outbox_oldest_age", "seconds", "Of the oldest that waits.", age_s)
    said = "Messages that are sent no more: refused, given up, bounced, dropped."
    yield _by_label("digseason_outbox_ended", said, "end", count_ended(connection))
    held = 0 if fetch_hold(connection) is None else 1
    yield _gauge("digseason_outbox_held", "", "1: nothing is sent until a person says so.", held)
    troubles = fetch_troubles(connection)
    of_channel = {name: int(name in troubles) for name in CHANNELS}
    said = "1: a channel takes nothing."
    yield _by_label("digseason_channel_failing", said, "channel", of_channel)


def _find_feeds(connection: Connection) -> Iterator[Metric]:
    stations = fetch_stations(connection)
    failing = {one.id: int(one.failing_since is not None) for one in stations}
    yield _by_label("digseason_feed_failing", "1: fetching fails.", "station", failing)
    fetched = {one.id: one.fetched_at.timestamp() for one in stations if one.fetched_at}
    said = "When all there was had been fetched."
    yield _by_label("digseason_feed_fetched_timestamp", said, "station", fetched, "seconds")


def _measure(connection: Connection) -> int:
    if connection.dialect.name == "postgresql":
        return connection.execute(text("select pg_database_size(current_database())")).scalar_one()
    pages, page = (
        connection.execute(text(f"pragma {name}")).scalar_one()
        for name in ("page_count", "page_size")
    )
    return pages * page


def _gauge(name: str, unit: str, said: str, value: float) -> Metric:
    return GaugeMetricFamily(name, said, value=value, unit=unit)


def _by_label(
    name: str, said: str, label: str, values: Mapping[str, float], unit: str = ""
) -> Metric:
    family = GaugeMetricFamily(name, said, labels=(label,), unit=unit)
    for key, value in values.items():
        family.add_metric((key,), value)
    return family
