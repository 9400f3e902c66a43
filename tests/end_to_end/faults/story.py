"""What is fed in: a spring of the north and a fall of the south at once, by the four ways in which
readings come, told to three people. All of it is the same in every run."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

FARM = """
[organisation]
name = "Alder Bench Growers"

[[site]]
id = "alder"
name = "Upper Alder"
timezone = "America/Los_Angeles"
latitude = 45.1
longitude = -123.2

[[site]]
id = "merrin"
name = "Upper Merrin"
timezone = "Australia/Sydney"
latitude = -33.4
longitude = 149.6

[layout.plain]
clock = "UTC"
time = "time"
time_format = "%Y-%m-%d %H:%M"
stamp = "end"
interval_min = 60
unit = "C"
columns = { "T30" = 30 }

[[recipient]]
name = "Ada Example"
role = "coordinator"
email = "ada@example.org"
channels = ["mail"]

[[recipient]]
name = "Ben Example"
role = "grower"
phone = "+61491570156"
channels = ["sms"]

[[recipient]]
name = "Cai Example"
role = "grower"
email = "cai@example.org"
phone = "+61491570157"
channels = ["mail", "sms"]
"""
PEOPLE = ("Ada Example", "Ben Example", "Cai Example")
OF_BLOCK = """
[[logger]]
id = "{block}-logger"
site = "{site}"
layout = "plain"

[[block]]
id = "{block}"
site = "{site}"
name = "{name}"
probes = ["{block}-logger:30"]
"""

Level = Sequence[tuple[str, float]]
NORTH: Level = (
    *(("2025-03-01", 8), ("2025-04-28", 10), ("2025-05-04", 20), ("2025-05-14", 20)),
    *(("2025-05-18", 12), ("2025-05-25", 12), ("2025-05-30", 21), ("2025-06-12", 22)),
)
SOUTH: Level = (
    *(("2025-03-01", 27), ("2025-04-20", 26), ("2025-04-30", 20), ("2025-05-18", 20)),
    *(("2025-05-24", 11), ("2025-06-12", 10)),
)
BEGIN = datetime(2025, 3, 1, tzinfo=UTC)
STEPS = [datetime(2025, *day, 22, tzinfo=UTC) for day in ((5, 1), (5, 7), (5, 21), (6, 6))]
"""What has come by the first of them is there before anything fails. 22:00 UTC is two or three in
the afternoon in the north, eight in the morning in the south: all may be told then."""


@dataclass(frozen=True)
class Source:
    """A block with a logger of its own; `by`: how its readings come."""

    block: str
    name: str
    site: str
    by: str
    level: Level
    shift_c: float = 0.0

    @property
    def logger(self) -> str:
        """The id of its logger."""
        return f"{self.block}-logger"

    def temps_c(self, since: datetime, until: datetime) -> list[tuple[datetime, float]]:
        """Return its readings after an instant up to another, at every hour [degC]."""
        hours = np.arange(_hour(since) + 1, _hour(until) + 1)
        known = [_hour(datetime.fromisoformat(f"{day}T00:00Z")) for day, _ in self.level]
        level_c = np.interp(hours, known, [temp_c for _, temp_c in self.level])
        temps_c = level_c + self.shift_c + 1.5 * np.cos(2 * np.pi * hours / 24)
        return [
            (datetime.fromtimestamp(int(hour) * 3600, UTC), round(float(temp_c), 2))
            for hour, temp_c in zip(hours, temps_c, strict=True)
        ]

    def as_file(self, since: datetime, until: datetime) -> str:
        """Return them as its logger writes them."""
        rows = [f"{at:%Y-%m-%d %H:%M},{temp_c}" for at, temp_c in self.temps_c(since, until)]
        return "\n".join(["time,T30", *rows, ""])

    def as_push(self, since: datetime, until: datetime) -> str:
        """Return them as its logger pushes them."""
        rows = [
            {"observed_at": at.isoformat(), "depth_cm": 30, "soil_temp_c": temp_c}
            for at, temp_c in self.temps_c(since, until)
        ]
        return json.dumps({"readings": rows})


SOURCES = (
    Source("terrace", "Terrace 7", "alder", "inbox", NORTH),
    Source("ledge", "Ledge", "alder", "push", NORTH, -0.6),
    Source("brae", "Brae", "merrin", "import", SOUTH),
    Source("knoll", "Knoll", "merrin", "inbox", SOUTH, 0.5),
)


def farm_text(sources: Sequence[Source] = SOURCES) -> str:
    """Return the farm file."""
    return FARM + "".join(OF_BLOCK.format(**vars(source)) for source in sources)


def make_sources(count: int) -> list[Source]:
    """Return blocks of two years, by turns in the north and in the south, each a little warmer."""
    places = (("alder", _yearly("2024-01-20")), ("merrin", _yearly("2024-07-20")))
    return [
        Source(f"block-{n}", f"Block {n}", places[n % 2][0], "inbox", places[n % 2][1], n / count)
        for n in range(count)
    ]


def _yearly(coldest: str) -> Level:
    """Return a year's wave of 14 +- 10 degC, from 2024 to 2026."""
    days = np.arange(np.datetime64("2024-01-01"), np.datetime64("2026-03-01"), 10)
    since_d = (days - np.datetime64(coldest)).astype(float)
    level_c = 14 - 10 * np.cos(2 * np.pi * since_d / 365.25)
    return [(str(day), float(temp_c)) for day, temp_c in zip(days, level_c, strict=True)]


def find_clock_changes(zone: str, since: datetime, until: datetime) -> list[datetime]:
    """Return the days, at 22:00 UTC, within which the clocks of a zone are set."""
    days = [since + timedelta(days=n) for n in range((until - since).days)]
    at = ZoneInfo(zone)
    return [
        day
        for day in days
        if day.astimezone(at).utcoffset() != (day - timedelta(days=1)).astimezone(at).utcoffset()
    ]


def _hour(at: datetime) -> int:
    return int(at.timestamp()) // 3600


def day_before(at: datetime) -> str:
    """Return the last day that is over at a step, at every site."""
    return f"{(at - timedelta(days=1)).date()}"
