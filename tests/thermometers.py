"""What the tests of hand readings share: a site with a thermometer, and what is noted with it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta

from sqlalchemy import Engine

from service.intake.hand import HandReport, Written, find_thermometer, keep_hand_readings
from service.store.engine import writing
from tests.farms import NORTH, THERMOMETER, farm_text, set_up

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)

READER = """
[[recipient]]
name = "Ada Example"
role = "grower"
email = "ada@example.org"
phone = "+14155550101"
channels = ["mail", "sms"]
"""
BLOCK = """
[[block]]
id = "terrace-7"
site = "upper"
name = "Terrace 7"
"""
BY_HAND = f"{NORTH}{BLOCK}{READER}{THERMOMETER}"
BESIDE_LOGGER = farm_text(north=True, depths_cm=[15, 30], more=THERMOMETER)


def set_up_thermometer(engine: Engine, text: str = BY_HAND) -> None:
    """Put a farm into the store."""
    set_up(engine, text)


def note(engine: Engine, *written: Written, now: datetime = NOW) -> HandReport:
    """Note readings with the thermometer "h1"."""
    with writing(engine) as connection:
        thermometer = find_thermometer(connection, "h1")
        return keep_hand_readings(connection, thermometer, written, "command", now)


def read_on(days: Iterable[date], temp_f: float) -> list[Written]:
    """Return a reading at 8:30 on each day."""
    return [Written(f"{day} 08:30", 30, f"{temp_f}F", "Ada") for day in days]


def every(days_apart: int, first: date, last: date) -> list[date]:
    """Return days from one to another."""
    return [
        first + timedelta(days=count) for count in range(0, (last - first).days + 1, days_apart)
    ]
