"""A job that is run again and again: timed and counted, and told where it fails."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from threading import Event

from sqlalchemy import Engine

from service.memory import give_back
from service.settings import Settings
from service.store.busy import NotNowError
from service.watching.counters import JOB_SECONDS, JOBS

Job = Callable[[Engine, Settings, Event], None]
"""What it does, told in a line of the log by itself; the event ends it early."""

MUCH_S = 1.0
"""A job that takes longer has taken memory too."""

log = logging.getLogger(__name__)


def run_job(name: str, job: Job, engine: Engine, settings: Settings, stop: Event) -> None:
    """Run a job once; of one that fails the next tick tries again."""
    begun_s, outcome = time.monotonic(), "failed"
    try:
        job(engine, settings, stop)
        outcome = "done"
    except NotNowError as held:
        outcome = "not now"
        log.debug("%s: not for now: %s", name, held)
    except Exception:
        extra = {"event": name, "figures": {"outcome": outcome}}
        log.exception("%s: failed; the next tick tries again", name, extra=extra)
    took_s = time.monotonic() - begun_s
    JOBS.labels(name, outcome).inc()
    JOB_SECONDS.labels(name).observe(took_s)
    if took_s > MUCH_S:
        give_back()
