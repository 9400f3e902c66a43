"""Wakes the rounds up. The database says what is due; a tick that finds nothing does nothing."""

from __future__ import annotations

import logging
from datetime import UTC, datetime

from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.interval import IntervalTrigger
from sqlalchemy import Engine

from service.fetches import fetch_due, make_fetcher
from service.intake.inbox import empty_inbox
from service.rounds import run_due
from service.settings import Settings

log = logging.getLogger(__name__)


def tick(engine: Engine, settings: Settings) -> None:
    """Do what is due now; a failure is logged and the next tick tries again."""
    try:
        report = run_due(engine, settings, datetime.now(UTC))
    except Exception:
        log.exception("round failed; the next tick tries again")
        return
    if report.evaluations or report.digests or report.delivered:
        log.info(
            "round: %d blocks, %d notices, %d digests, %d messages delivered",
            len(report.evaluations),
            len(report.notices),
            report.digests,
            len(report.delivered),
        )


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


def start_scheduler(engine: Engine, settings: Settings) -> BackgroundScheduler:
    """Start ticking, at once and then every `settings.tick_s` seconds."""
    scheduler = BackgroundScheduler(
        timezone=UTC,
        job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
    )
    for job in (tick, watch_inbox, fetch_feeds):  # apart: a long import holds no digest back
        scheduler.add_job(
            job,
            IntervalTrigger(seconds=settings.tick_s, timezone=UTC),
            args=(engine, settings),
            next_run_time=datetime.now(UTC),
        )
    scheduler.start()
    return scheduler
