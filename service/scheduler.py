"""Wakes the rounds up. The database says what is due; a tick that finds nothing does nothing."""

from __future__ import annotations

import logging
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from threading import Event

from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.interval import IntervalTrigger
from sqlalchemy import Engine

from service.bounces.taking_in import take_in_bounces
from service.daily_means import pack_daily_means
from service.delivery import deliver
from service.drawing import Drawer
from service.fetches import fetch_due, make_fetcher
from service.forecasts import fetch_due_forecasts, make_forecast_fetcher
from service.intake.inbox import empty_inbox
from service.intake.packing import pack_pushes
from service.looking_ahead import look_ahead_if_due
from service.rounds import run_due
from service.settings import Settings
from service.store.busy import NotNowError

PACKING_H = 6

log = logging.getLogger(__name__)


def tick(engine: Engine, settings: Settings) -> None:
    """Do what is due now; a failure is logged and the next tick tries again."""
    try:
        report = run_due(engine, settings, datetime.now(UTC))
    except NotNowError as held:
        log.info("no round for now: %s", held)
        return
    except Exception:
        log.exception("round failed; the next tick tries again")
        return
    if report.evaluations or report.digests:
        log.info(
            "round: %d blocks, %d notices, %d digests",
            len(report.evaluations),
            len(report.notices),
            report.digests,
        )


def look_ahead(engine: Engine, settings: Settings) -> None:
    """Find the outlooks that are due; a failure is logged and the next tick tries again."""
    begun = time.monotonic()
    try:
        found = look_ahead_if_due(engine, settings, datetime.now(UTC))
    except NotNowError as held:
        log.info("no outlooks for now: %s", held)
        return
    except Exception:
        log.exception("looking ahead failed; the next tick tries again")
        return
    if found:
        log.info("outlooks: %d blocks in %.1f s", len(found), time.monotonic() - begun)


def send_due(engine: Engine, settings: Settings, stop: Event) -> None:
    """Send what waits in the outbox; a failure is logged and the next tick tries again."""
    try:
        report = deliver(engine, settings, datetime.now(UTC), at_once=False, stop=stop)
    except Exception:
        log.exception("sending failed; the next tick tries again")
        return
    if report.hold:
        log.warning("outbox: %s", report.hold)
    if report.sent:
        log.info("outbox: %d messages delivered", len(report.sent))
    for one in report.not_sent:
        log.warning("outbox: message %d: %s: %s", one.message.id, one.end or "later", one.why)
    for channel, why in report.troubles.items():
        log.warning("outbox: no %s for now: %s", channel, why)


def take_in(engine: Engine, settings: Settings) -> None:
    """Take in the mails that came back; a failure is logged and the next tick tries again."""
    try:
        report = take_in_bounces(engine, settings, datetime.now(UTC))
    except Exception:
        log.exception("taking in bounces failed; the next tick tries again")
        return
    for told in (*report.failed, *report.late):
        log.warning("bounce: %s", told)
    if report.trouble:
        log.warning("bounces: %s", report.trouble)


def watch_inbox(engine: Engine, settings: Settings) -> None:
    """Import what has settled in the inbox; a failure is logged and the next tick tries again."""
    try:
        files = empty_inbox(engine, settings, datetime.now(UTC))
    except Exception:
        log.exception("the inbox failed; the next tick tries again")
        return
    for file in files:
        if file.is_new and file.fate != "changing":
            log.info("inbox: %s: %s", file.name, file.fate)


def pack(engine: Engine) -> None:
    """Pack old daily means and what old pushes held; what fails is logged and tried again."""
    try:
        pack_daily_means(engine, datetime.now(UTC))
        pack_pushes(engine, datetime.now(UTC))
    except Exception:
        log.exception("packing failed; the next time tries again")


def fetch_feeds(engine: Engine, settings: Settings) -> None:
    """Fetch the stations that are due; what fails is kept with its station, and logged."""
    try:
        reports = fetch_due(engine, make_fetcher(settings.contact), datetime.now(UTC))
    except Exception:
        log.exception("fetching failed; the next tick tries again")
        return
    for report in reports:
        log.info("fetch: %s: %d new readings", report.station_id, report.readings.inserted)
        if report.failure:
            log.warning("fetch: %s: %s", report.station_id, report.failure)


def fetch_air_forecasts(engine: Engine, settings: Settings) -> None:
    """Fetch the forecasts that are due; what fails is kept with its site, and logged."""
    try:
        make = make_forecast_fetcher(settings.contact)
        reports = fetch_due_forecasts(engine, make, datetime.now(UTC))
    except Exception:
        log.exception("fetching forecasts failed; the next tick tries again")
        return
    for report in reports:
        if report.failure:
            log.warning("forecast: %s: %s", report.site_id, report.failure)
        else:
            log.info("forecast: %s: %d days of air", report.site_id, report.days)


def draw(drawer: Drawer, engine: Engine, settings: Settings, stop: Event) -> None:
    """Draw the charts that pages show; a failure is logged and the next tick tries again."""
    try:
        count = drawer.draw(engine, settings, datetime.now(UTC), stop)
    except Exception:
        log.exception("drawing failed; the next tick tries again")
        return
    if count:
        log.info("charts: %d drawn", count)


@contextmanager
def ticking(engine: Engine, settings: Settings) -> Iterator[None]:
    """Tick at once and then every `settings.tick_s` seconds, until left; then no job runs any more.

    The jobs run apart: neither a long import, nor outlooks, nor thousands of messages hold a round
    back.
    """
    stop = Event()
    scheduler = BackgroundScheduler(
        timezone=UTC,
        job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
    )
    jobs = tick, look_ahead, send_due, take_in, watch_inbox, fetch_feeds, fetch_air_forecasts
    for job in jobs:
        scheduler.add_job(
            job,
            IntervalTrigger(seconds=settings.tick_s, timezone=UTC),
            args=(engine, settings, stop) if job is send_due else (engine, settings),
            next_run_time=datetime.now(UTC),
        )
    scheduler.add_job(
        draw,
        IntervalTrigger(seconds=settings.tick_s, timezone=UTC),
        args=(Drawer(), engine, settings, stop),
        next_run_time=datetime.now(UTC),
    )
    scheduler.add_job(
        pack,
        IntervalTrigger(hours=PACKING_H, timezone=UTC),
        args=(engine,),
        next_run_time=datetime.now(UTC),
    )
    scheduler.start()
    try:
        yield
    finally:
        stop.set()
        scheduler.shutdown()
