"""Logger files whose clock goes as a test wants, and what is known of their logger."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from probes.clock_signs import ClockFacts, find_clock_signs
from probes.frames import LoggerFile
from tests.logger_texts import layout, read

ZONE = "America/Los_Angeles"
ARRIVED = datetime(2026, 6, 1, tzinfo=UTC)


def hourly(first: str, days: float, every_min: float = 60) -> list[datetime]:
    """Return instants of a clock at UTC-08:00 that keeps one time all year."""
    begin = datetime.fromisoformat(f"{first}-08:00").astimezone(UTC)
    count = round(days * 1440 / every_min)
    return [begin + timedelta(minutes=every_min * step) for step in range(count)]


def on_the_wall(instants: Iterable[datetime], zone: str = ZONE) -> list[str]:
    """Return what a clock that follows summer time shows."""
    return [f"{at.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M}" for at in instants]


def all_year(instants: Iterable[datetime], ahead: timedelta = timedelta(hours=-8)) -> list[str]:
    """Return what a clock with a fixed offset shows."""
    return [f"{at + ahead:%Y-%m-%d %H:%M}" for at in instants]


def signs_of(
    folder: Path,
    stamps: Sequence[str],
    clock: str,
    every_min: float = 60,
    temps_c: Sequence[float] | None = None,
    arrived_at: datetime = ARRIVED,
    earlier: Sequence[tuple[datetime, datetime]] = (),
) -> list[str]:
    """Return the signs in a file of two depths with these stamps, read by a declared clock."""
    temps_c = temps_c or [15.0] * len(stamps)
    rows = (f"{stamp},{temp:.2f},15.0" for stamp, temp in zip(stamps, temps_c, strict=True))
    file = read(folder, "\n".join(["Time,10 cm,30 cm", *rows, ""]), clock, interval_min=every_min)
    known = layout(clock, interval_min=every_min)
    depths_cm = {"10 cm": 10.0, "30 cm": 30.0}
    facts = ClockFacts("upper", known.clock, known.stamp_to_end, every_min, ZONE, -120.0, depths_cm)
    return find_clock_signs(file, facts, arrived_at, earlier)


def as_file(
    observed_at: NDArray[np.datetime64], channels: Sequence[str], soil_temp_c: NDArray[np.float64]
) -> LoggerFile:
    """Return a file that was read without a reject."""
    return LoggerFile(
        tuple(channels), np.arange(observed_at.size) + 2, observed_at, soil_temp_c, 0, ()
    )
