"""Silences for tests: a logger that stopped on 4 October, and what differs from it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from alerts.silence_news import SilenceNotice

STOPPED = SilenceNotice(
    what="stopped",
    logger_id="R-1",
    is_station=False,
    site_name="Estero",
    depth_cm=None,
    last_on=date(2025, 10, 4),
    block_names=("River 1", "River 2"),
)


def make_silence(**changes: Any) -> SilenceNotice:
    """Return STOPPED with changes."""
    return replace(STOPPED, **changes)


def make_due(**changes: Any) -> SilenceNotice:
    """Return a notice that a download is due."""
    return make_silence(**{"what": "due", "logger_id": "R-2", "usual_days": 30, **changes})


def make_return(**changes: Any) -> SilenceNotice:
    """Return a notice that readings are back, with some days missing."""
    return make_silence(**{"what": "returned", "back_on": date(2025, 10, 9), **changes})


def make_failing(**changes: Any) -> SilenceNotice:
    """Return a notice of a station that cannot be fetched."""
    facts = {
        "logger_id": "low-bench",
        "is_station": True,
        "failing_since": date(2025, 10, 5),
        "failure": "the server answers 503 Service Unavailable",
    }
    return make_silence(**{**facts, **changes})


EVERY_SILENCE = [
    make_silence(),
    make_silence(unusable=True, block_names=()),
    make_silence(depth_cm=30.0, block_names=tuple(f"River {i}" for i in range(1, 10))),
    make_silence(depth_cm=60.0, unusable=True, last_on=date(2024, 10, 4)),
    make_failing(),
    make_failing(failing_since=None, failure=None),
    make_due(),
    make_return(),
    make_return(back_on=None, depth_cm=30.0),
    make_return(is_station=True, block_names=()),
]
