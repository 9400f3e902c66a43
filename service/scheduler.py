"""Wakes the rounds up. The database says what is due; a tick that finds nothing does nothing."""

from __future__ import annotations

import logging
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from functools import partial
from threading import Event, Thread

from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.base import BaseTrigger
from sqlalchemy import Engine

from service.bounces.taking_in import take_in_bounces
from service.charts.kept import Drawer
from service.daily_means import pack_daily_means
from service.delivery import deliver
from service.fetches import fetch_due, make_fetcher
from service.forecasts import fetch_due_forecasts, make_forecast_fetcher
from service.intake.inbox import empty_inbox
from service.intake.packing import pack_pushes
from service.intake.resting import Resting
from service.looking_ahead import look_ahead_if_due
from service.rounds import run_due
from service.settings import Settings
from service.showing import count_text
from service.upkeep import prune
from service.watching.alarms import look_after
from service.watching.counters import MESSAGES
from service.watching.heartbeat import Heartbeat
from service.watching.job_runs import Job, run_job
from service.watching.logs import tell

UPKEEP_S = 6 * 3600
LOOKING_AFTER_S = 300
LOOKING_AT_CLOCK_S = 1

log = logging.getLogger(__name__)


def tick(engine: Engine, settings: Settings, _: Event) -> None:
    """Run the round that is due, and write to whom it is time to."""
    begun_s = time.monotonic()
    report = run_due(engine, settings, datetime.now(UTC))
    if not report.evaluations and not report.digests:
        return
    seconds = time.monotonic() - begun_s
    as_of = max((one.as_of for one in report.evaluations), default=None)
    blocks, notices = len(report.evaluations), len(report.notices)
    counted = (
        count_text(blocks, "block"),
        count_text(notices, "notice"),
        count_text(report.digests, "digest"),
    )
    tell(
        log,
        "round",
        f"{', '.join(counted)} in {seconds:.1f} s{f', as of {as_of}' if as_of else ''}",
        blocks=blocks,
        notices=notices,
        silences=len(report.silences),
        digests=report.digests,
        seconds=round(seconds, 3),
        as_of=as_of,
    )


def look_ahead(engine: Engine, settings: Settings, _: Event) -> None:
    """Find the outlooks that are due."""
    begun_s = time.monotonic()
    found = look_ahead_if_due(engine, settings, datetime.now(UTC))
    if found:
        seconds = time.monotonic() - begun_s
        said = f"{count_text(len(found), 'block')} in {seconds:.1f} s"
        tell(log, "outlooks", said, blocks=len(found), seconds=round(seconds, 3))


def send_due(engine: Engine, settings: Settings, stop: Event) -> None:
    """Send what waits in the outbox."""
    report = deliver(engine, settings, datetime.now(UTC), at_once=False, stop=stop)
    for sent in report.sent:
        MESSAGES.labels(sent.message.channel, "sent").inc()
    if report.sent:
        count = len(report.sent)
        tell(log, "outbox", f"{count_text(count, 'message')} delivered", messages=count)
    for one in report.not_sent:
        outcome, number = one.end or "later", one.message.id
        MESSAGES.labels(one.message.channel, outcome).inc()
        figures = {"message": number, "channel": one.message.channel, "outcome": outcome}
        said = f"message {number}: {outcome}: {one.why}"
        tell(log, "outbox", said, logging.WARNING, why=one.why, **figures)
    for channel, why in report.troubles.items():
        MESSAGES.labels(channel, "channel down").inc()
        said = f"no {channel} for now: {why}"
        tell(log, "outbox", said, logging.WARNING, channel=channel, why=why)


def take_in(engine: Engine, settings: Settings, _: Event) -> None:
    """Take in the mails that came back."""
    report = take_in_bounces(engine, settings, datetime.now(UTC))
    for told in (*report.failed, *report.late, *filter(None, [report.trouble])):
        tell(log, "bounces", f"{told}", logging.WARNING)


def watch_inbox(resting: Resting, engine: Engine, settings: Settings, _: Event) -> None:
    """Import what rests in the inbox."""
    for file in empty_inbox(engine, settings, resting):
        if file.is_new and file.fate != "changing":
            tell(log, "inbox", f"{file.name}: {file.fate}", file=file.name, fate=file.fate)


def fetch_feeds(engine: Engine, settings: Settings, _: Event) -> None:
    """Fetch the stations that are due; what fails is kept with its station."""
    for report in fetch_due(engine, make_fetcher(settings.contact), datetime.now(UTC)):
        new = report.readings.inserted
        said, level = f"{report.station_id}: {count_text(new, 'new reading')}", logging.INFO
        if report.failure:
            said, level = f"{said}; {report.failure}", logging.WARNING
        figures = {"station": report.station_id, "readings": new, "failure": report.failure}
        tell(log, "fetch", said, level, **figures)


def fetch_air_forecasts(engine: Engine, settings: Settings, _: Event) -> None:
    """Fetch the forecasts that are due; what fails is kept with its site."""
    make = make_forecast_fetcher(settings.contact)
    for report in fetch_due_forecasts(engine, make, datetime.now(UTC)):
        said, level = report.failure or f"{report.days} days of air", logging.INFO
        if report.failure:
            level = logging.WARNING
        figures = {"site": report.site_id, "days": report.days, "failure": report.failure}
        tell(log, "forecast", f"{report.site_id}: {said}", level, **figures)


def keep_small(engine: Engine, _settings: Settings, _: Event) -> None:
    """Pack old daily means and what old pushes held; take out what is over."""
    pack_daily_means(engine, datetime.now(UTC))
    pack_pushes(engine, datetime.now(UTC))
    rows = prune(engine, datetime.now(UTC))
    if rows:
        tell(log, "upkeep", f"{count_text(rows, 'row')} taken out that told nothing", rows=rows)


def watch(engine: Engine, settings: Settings, _: Event) -> None:
    """Look what is wrong with the service, and tell its operator."""
    look_after(engine, settings, datetime.now(UTC))


WATCHING: Mapping[str, tuple[Job, float]] = {"watch": (watch, LOOKING_AFTER_S)}


@contextmanager
def ticking(engine: Engine, settings: Settings) -> Iterator[None]:
    """Tick at once and then every `settings.tick_s` seconds, until left; then no job runs any more.

    The jobs run apart: neither a long import, nor outlooks, nor thousands of messages hold a round
    back.
    """
    drawer, heartbeat = Drawer(), Heartbeat()

    def draw(engine: Engine, settings: Settings, stop: Event) -> None:
        count = drawer.draw(engine, settings, datetime.now(UTC), stop)
        if count:
            tell(log, "charts", f"{count} drawn", charts=count)

    jobs: dict[str, Job] = {
        "round": partial(heartbeat.run, tick),
        "heartbeat": heartbeat.beat,
        "outlooks": look_ahead,
        "outbox": send_due,
        "bounces": take_in,
        "inbox": partial(watch_inbox, Resting()),
        "fetch": fetch_feeds,
        "forecast": fetch_air_forecasts,
        "charts": draw,
    }
    each_tick = {name: (job, settings.tick_s) for name, job in jobs.items()}
    with _running(engine, settings, {**each_tick, "upkeep": (keep_small, UPKEEP_S), **WATCHING}):
        yield


@contextmanager
def watching(engine: Engine, settings: Settings) -> Iterator[None]:
    """Look after the service from beside it, where another process runs what is due."""
    with _running(engine, settings, WATCHING):
        yield


class Every(BaseTrigger):
    """Again after so long, counted from now on.

    The library's own counts what was missed one by one, for minutes where the clock is set on by
    years.
    """

    def __init__(self, interval: timedelta) -> None:
        self.interval = interval

    def get_next_fire_time(  # type: ignore[override] (always one)
        self,
        previous_fire_time: object,  # noqa: ARG002 (the library gives it)
        now: datetime,
    ) -> datetime:
        """Return when it is due again."""
        return now + self.interval


@contextmanager
def _running(
    engine: Engine, settings: Settings, jobs: Mapping[str, tuple[Job, float]]
) -> Iterator[None]:
    """Run jobs, each at once and then every so many seconds, also where the clock is set."""
    stop = Event()
    scheduler = BackgroundScheduler(
        timezone=UTC,
        executors={"default": ThreadPoolExecutor(len(jobs))},
        job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
    )
    for name, (job, seconds) in jobs.items():
        scheduler.add_job(
            run_job,
            Every(timedelta(seconds=seconds)),
            args=(name, job, engine, settings, stop),
            next_run_time=datetime.now(UTC),
        )
    minding = Thread(target=_mind_clock, args=(scheduler, stop))
    scheduler.start()
    minding.start()
    try:
        yield
    finally:
        stop.set()
        minding.join()
        scheduler.shutdown()


def _mind_clock(scheduler: BackgroundScheduler, stop: Event) -> None:
    """Run what, by a clock that was set back, would wait for longer than its interval; wake the
    scheduler where something is due: it may have reckoned how long to wait by a clock that has been
    set right since.
    """
    while not stop.wait(LOOKING_AT_CLOCK_S):
        now = datetime.now(UTC)
        for job in scheduler.get_jobs():
            if job.next_run_time > now + job.trigger.interval:
                job.modify(next_run_time=now)
            elif job.next_run_time < now:
                scheduler.wakeup()
