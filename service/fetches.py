"""Fetching stations: what is new since the last fetch, or the readings of some days.

Each answer is a batch of its own, kept before the next is asked for: a fetch that breaks off leaves
what it has, and the next one takes it up. Providers revise values without a word, so the days
before are asked for again each time; as in any import the value that came first is kept and the
other listed.
"""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
from sqlalchemy import Engine

from probes.feeds.contract import FeedAnswerError, FeedReadings, NothingThereError
from service.farm.layouts import layout_from_spec
from service.fetching.awdb import fetch_awdb
from service.fetching.crn import fetch_crn
from service.fetching.deliveries import Delivery, Feed, Span, Station
from service.fetching.http import Fetcher, FetchError
from service.fetching.plain import fetch_plain
from service.fetching.sensorthings import fetch_sensorthings
from service.intake.ingest import Progress, Source, ingest
from service.intake.reports import ImportReport
from service.store.engine import reading, writing
from service.store.imports import tells_something_new
from service.store.loggers import fetch_logger
from service.store.shared_clock import AHEAD, is_over
from service.store.stations import (
    StationRow,
    add_probes,
    begin_attempt,
    claim_attempt,
    fetch_stations,
    find_first_reading,
    find_last_readings,
    note_failure,
    note_success,
)

FEEDS: Mapping[str, Feed] = {
    "crn-hourly": fetch_crn,
    "crn-daily": fetch_crn,
    "crn-5min": fetch_crn,
    "awdb": fetch_awdb,
    "sensorthings": fetch_sensorthings,
    "plain": fetch_plain,
}
FIRST_FETCH = timedelta(days=400)  # this season and the one before
OVERLAP = timedelta(days=14)
YEARS_AT_ONCE = 4  # of a past that is taken in; a gap of so many ends it
LAGGING = timedelta(days=60)  # a probe silent for longer holds the others back no more

MakeFetcher = Callable[[StationRow, Mapping[str, Mapping[str, str]]], Fetcher]

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class FetchReport:
    """What a fetch of one station came to.

    failure : why it broke off
    is_absent : whether that is because the network has nothing of the span
    """

    station_id: str
    span: Span
    readings: ImportReport
    failure: str | None = None
    is_absent: bool = False


def make_fetcher(contact: str) -> MakeFetcher:
    """Return what makes the fetcher of a station; all of them together keep a polite pace."""
    last_request_s: dict[str, float] = {}

    def make(station: StationRow, known: Mapping[str, Mapping[str, str]]) -> Fetcher:
        hosts = station.spec["allow_hosts"] or ()
        return Fetcher(contact, hosts, known, last_request_s)

    return make


def fetch_due(engine: Engine, make: MakeFetcher, now: datetime) -> list[FetchReport]:
    """Fetch the stations that are due; one that fails stops no other."""
    with reading(engine) as connection:
        stations = fetch_stations(connection)
    due = [one for one in stations if is_over(one.attempted_at, one.every, now)]
    reports = []
    for one in due:
        with writing(engine) as connection:
            is_ours = claim_attempt(connection, one, now)
        if is_ours:
            reports.append(fetch_new(engine, make, one, now))
    return reports


def fetch_new(
    engine: Engine,
    make: MakeFetcher,
    station: StationRow,
    now: datetime,
    progress: Progress = lambda _: None,
) -> FetchReport:
    """Fetch what is new of a station, as it is by then, and note how that went."""
    with writing(engine) as connection:
        station = begin_attempt(connection, station.id, now)
    span = Span(_find_since(engine, station, now), now)
    # an answer that is unchanged holds nothing new only for one who has read it as far back
    knows = station.asked_since is not None and station.asked_since <= span.since
    fetcher = make(station, station.validators if knows else {})
    report = _fetch(engine, fetcher, station, span, now, progress)
    with writing(engine) as connection:
        if report.failure is None:
            note_success(connection, station, span.since, fetcher.validators)
        else:
            note_failure(connection, station, report.failure)
    return report


def fetch_days(
    engine: Engine,
    make: MakeFetcher,
    station: StationRow,
    first: date | None,
    last: date | None,
    now: datetime,
    progress: Progress = lambda _: None,
) -> FetchReport:
    """Fetch the readings of some days of a station's site; what is due stays as it is."""
    offset = timedelta(minutes=station.utc_offset_min)
    begin = _find_since(engine, station, now)
    end = now
    if first is not None:
        begin = datetime.combine(first, time(), UTC) - offset
    if last is not None:
        end = min(now, datetime.combine(last, time(), UTC) + timedelta(days=1) - offset)
    return _fetch(engine, make(station, {}), station, Span(begin, end), now, progress)


def fetch_past(
    engine: Engine,
    make: MakeFetcher,
    station: StationRow,
    first: date | None,
    now: datetime,
    progress: Progress = lambda _: None,
) -> Iterator[FetchReport]:
    """Fetch all that a network has of a station, back to a day or to its beginning.

    Goes back from the first reading that is there, some years at a time, each a report of its own:
    one that broke off is taken up by the next call, which asks for the earliest of them again.
    Without a day, the station's `first_day` of the farm file ends it, or years without a reading.
    """
    first_day = first or station.spec["first_day"]
    begin = datetime.min.replace(tzinfo=UTC)
    if first_day is not None:
        day = date.fromisoformat(f"{first_day}")
        begin = datetime.combine(day, time(), UTC) - timedelta(minutes=station.utc_offset_min)
    held = _find_first(engine, station)
    until = now
    if held is not None:  # those that came with it may have broken off
        until = min(now, datetime(held.year + YEARS_AT_ONCE + 1, 1, 1, tzinfo=UTC))
    while until > begin:
        since = max(begin, datetime(until.year - YEARS_AT_ONCE, 1, 1, tzinfo=UTC))
        report = _fetch(engine, make(station, {}), station, Span(since, until), now, progress)
        held = _find_first(engine, station)
        reached_its_beginning = held is None or held >= until
        if report.is_absent and held is not None:
            return
        yield report
        if report.failure or (reached_its_beginning and first_day is None):
            return
        until = min(since, held) if held else since


def _find_first(engine: Engine, station: StationRow) -> datetime | None:
    with reading(engine) as connection:
        return find_first_reading(connection, station.id)


def _find_since(engine: Engine, station: StationRow, now: datetime) -> datetime:
    """Return from when on to ask: from the last reading, all of it after a fetch that broke off,
    and what was withdrawn."""
    with reading(engine) as connection:
        last = find_last_readings(connection, station.id)
    if station.fetched_at is None or station.fetched_at > now + AHEAD:
        first_day = station.spec["first_day"]
        if first_day is None:
            return now - FIRST_FETCH
        return datetime.combine(date.fromisoformat(first_day), time(), UTC)
    newest = max(last, default=station.fetched_at)
    since = max(min([*last, station.fetched_at]), newest - LAGGING) - OVERLAP
    return min(since, station.again_since or since)


def _fetch(
    engine: Engine,
    fetcher: Fetcher,
    station: StationRow,
    span: Span,
    now: datetime,
    progress: Progress,
) -> FetchReport:
    layout = None
    if station.layout_name is not None and station.layout_spec is not None:
        layout = layout_from_spec(station.layout_name, station.layout_spec)
    asked = Station(station.id, station.feed, station.spec, station.utc_offset_min, layout)
    report = ImportReport()
    failure, is_absent = None, False
    try:
        for delivery in FEEDS[station.feed](fetcher, asked, span):
            report += _keep(engine, station.id, delivery, now)
            progress((delivery.until - span.since) / max(span.until - span.since, timedelta(1)))
    except (FetchError, FeedAnswerError) as error:
        failure = str(error)
        is_absent = isinstance(error, NothingThereError)
    except Exception as error:
        # an answer that no reader foresaw stops neither the round nor other stations
        log.exception("fetching station %s", station.id)
        failure = f"{type(error).__name__}: {error}"
    return FetchReport(station.id, span, report, failure, is_absent)


def _keep(engine: Engine, station_id: str, delivery: Delivery, now: datetime) -> ImportReport:
    """Put one answer into the store, as a batch where it holds something new."""
    readings = _without_silent_channels(delivery.readings)
    sha256 = hashlib.sha256(delivery.content).hexdigest()
    source = Source("feed", delivery.address, sha256)
    with writing(engine) as connection:
        logger = fetch_logger(connection, station_id, lock=True)
        add_probes(connection, station_id, readings.depth_cm)
        logger = fetch_logger(connection, station_id)
        with connection.begin_nested() as batch:
            report = ingest(connection, logger, source, readings.file, now)
            if not (report.inserted or tells_something_new(connection, station_id)):
                batch.rollback()  # the days before are asked for again, with what was told of them
    return report


def _without_silent_channels(readings: FeedReadings) -> FeedReadings:
    """Leave out the depths at which there is no reading: many stations have no sensor there."""
    file = readings.file
    speaks = np.flatnonzero(~np.isnan(file.soil_temp_c).all(axis=0))
    channels = tuple(file.channels[place] for place in speaks)
    return FeedReadings(
        {channel: readings.depth_cm[channel] for channel in channels},
        replace(
            file,
            channels=channels,
            soil_temp_c=file.soil_temp_c[:, speaks],
            suspect=None if file.suspect is None else file.suspect[:, speaks],
        ),
    )
