"""Root-zone days of the real logger files by plain loops over their rows, apart from our code."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cache
from pathlib import Path

from alerts.rules import GRAPE_PHYLLOXERA
from alerts.windows import Span
from tests.plain_rule import ONE_DAY, days_between, plain_spans
from tests.real_data import PROFILE, TWITCHELL, DataFile, need


@dataclass(frozen=True)
class Station:
    """A block of real_farm.toml and its file; stamps are ends, on the site's standard time."""

    block: str
    logger: str
    file: DataFile
    lines_before_header: int
    time: str
    time_format: str
    missing: str
    shares: tuple[tuple[str, float], ...]
    """Each column that has a share in the mean over 15-45 cm."""
    last_day: date


ALFALFA = Station(
    block="alfalfa",
    logger="tower",
    file=TWITCHELL,
    lines_before_header=3,
    time="TIMESTAMP_END",
    time_format="%Y%m%d%H%M",
    missing="-9999",
    # by hand: over 15-16 cm T(z) goes from an eighth of the way up from 16 to 8 cm down to
    # 16 cm, on average 1/16 of T(8) and 15/16 of T(16); over 16-32 cm half of T(16) and T(32);
    # below 32 cm it stays T(32): 1/16, 15/16 + 8 and 8 + 13 of 30 cm
    shares=(("TS_1_3_1", 1 / 480), ("TS_1_4_1", 143 / 480), ("TS_1_5_1", 336 / 480)),
    last_day=date(2018, 6, 4),
)
UTAH = Station(
    block="profile",
    logger="profile-1",
    file=PROFILE,
    lines_before_header=0,
    time="DATETIME_END",
    time_format="%Y-%m-%d %H:%M:%S",
    missing="",
    # by hand: over 15-20 cm a quarter of T(10) and three of T(20), 5 cm long; whole layers
    # 20-30 and 30-40 cm; over 40-45 cm three quarters of T(40) and one of T(50)
    shares=(
        ("TS_3_2_1", 1.25 / 30),
        ("TS_3_3_1", (3.75 + 5) / 30),
        ("TS_3_4_1", 10 / 30),
        ("TS_3_5_1", (5 + 3.75) / 30),
        ("TS_3_6_1", 1.25 / 30),
    ),
    last_day=date(2025, 9, 30),
)


@cache
def root_zone_days(station: Station) -> dict[date, float]:
    """Return the root-zone temperature [degC] of each day on which every depth is complete."""
    path = need(station.file)
    means = {column: daily_means(path, station, column) for column, _ in station.shares}
    whole_days = set.intersection(*(set(by_day) for by_day in means.values()))
    return {
        day: sum(share * means[column][day] for column, share in station.shares)
        for day in sorted(whole_days)
    }


def cells_of(path: Path, station: Station, column: str) -> list[str]:
    """Return the cells of one column."""
    with path.open(newline="", encoding="utf-8") as file:
        for _ in range(station.lines_before_header):
            next(file)
        header, *rows = csv.reader(file)
    place = header.index(column)
    return [row[place] for row in rows]


@cache
def moments_of(path: Path, station: Station) -> list[datetime]:
    """Return a moment within the time of each row: a stamp of 09:00 belongs to 08-09."""
    return [
        datetime.strptime(cell, station.time_format) - timedelta(seconds=1)  # noqa: DTZ007 (local)
        for cell in cells_of(path, station, station.time)
    ]


@cache
def daily_means(path: Path, station: Station, column: str) -> dict[date, float]:
    """Return the mean [degC] of each complete day of one depth: 18 of 24 hours, no hole over 3."""
    hours: dict[date, dict[int, list[float]]] = {}
    cells = cells_of(path, station, column)
    for within, cell in zip(moments_of(path, station), cells, strict=True):
        if cell != station.missing:
            hours.setdefault(within.date(), {}).setdefault(within.hour, []).append(float(cell))
    return {
        day: sum(sum(values) / len(values) for values in of_day.values()) / len(of_day)
        for day, of_day in hours.items()
        if len(of_day) >= 18 and longest_hole(of_day) <= 3
    }


def longest_hole(hours: Mapping[int, object]) -> int:
    """Return the most hours in a row that are missing within a day."""
    longest = run = 0
    for hour in range(24):
        run = 0 if hour in hours else run + 1
        longest = max(longest, run)
    return longest


def windows(station: Station, as_of: date, column: str = "") -> list[Span]:
    """Return the spans of a station's root zone, or of one of its depths, by the plain rule."""
    path = need(station.file)
    values = daily_means(path, station, column) if column else root_zone_days(station)
    first_day = min(values)
    series = [values.get(day) for day in days_between(first_day, max(values) + ONE_DAY)]
    return plain_spans(series, first_day, False, GRAPE_PHYLLOXERA, as_of)
