"""Signs of a wrong clock in real soil: none where the clock is right, one where it is not.

[UTAH-PROFILE], [US-TW3] at their standard time. Six years cut into deliveries of a week, a month
and a year make 357, of which none may raise an alarm.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, timedelta
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from probes.clock import parse_clock
from probes.clock_signs import ClockFacts, find_clock_signs
from probes.clock_signs.set_by_an_hour import find_set_by_an_hour
from probes.frames import LoggerFile
from tests.clock_files import as_file
from tests.soil_series import profile, twitchell

SOILS = {  # series, interval [min], degrees east, zone, clock
    "profile": (profile, 60, -111.8, "America/Denver", "UTC-07:00"),
    "alfalfa": (twitchell, 30, -121.65, "America/Los_Angeles", "UTC-08:00"),
}


@cache
def table_of(soil: str) -> tuple[NDArray[np.datetime64], NDArray[np.float64]]:
    """Return all instants of a soil, and its readings by instant and depth [degC]."""
    series = SOILS[soil][0]()
    at = np.unique(np.concatenate([one.observed_at for one in series]))
    soil_temp_c = np.full((at.size, len(series)), np.nan)
    for place, one in enumerate(series):
        soil_temp_c[np.searchsorted(at, one.observed_at), place] = one.soil_temp_c
    return at, soil_temp_c


def deliveries(soil: str, days: int, shift: timedelta = timedelta()) -> Iterator[LoggerFile]:
    """Yield the readings of a soil, so many days at a time, by a clock that is off."""
    at, soil_temp_c = table_of(soil)
    channels = [f"{one.depth_cm:g}" for one in SOILS[soil][0]()]
    number = (at - at.min()) // np.timedelta64(days, "D")
    for one in np.unique(number):
        of_it = number == one
        yield as_file(at[of_it] + np.timedelta64(shift), channels, soil_temp_c[of_it])


def count_alarms(soil: str, days: int, shift: timedelta = timedelta()) -> tuple[int, int]:
    """Return how many deliveries there are, and how many show a sign."""
    _, interval_min, longitude_deg, zone, clock = SOILS[soil]
    arrivals, shown, count = [], 0, 0
    for file in deliveries(soil, days, shift):
        depth_cm = {channel: float(channel) for channel in file.channels}
        facts = ClockFacts(
            "x",
            parse_clock(clock),
            np.timedelta64(0, "us"),
            interval_min,
            zone,
            longitude_deg,
            depth_cm,
        )
        newest = file.observed_at.max().item().replace(tzinfo=UTC)
        arrived = newest + timedelta(hours=5)
        shown += bool(find_clock_signs(file, facts, arrived, arrivals))
        arrivals.append((arrived, newest))
        count += 1
    return count, shown


@pytest.mark.parametrize(
    ("soil", "days", "count"),
    [
        *[("profile", 7, 31), ("profile", 30, 8), ("profile", 365, 1)],
        *[("alfalfa", 7, 251), ("alfalfa", 30, 60), ("alfalfa", 365, 6)],
    ],
)
def test_no_delivery_of_a_right_clock_raises_an_alarm(soil: str, days: int, count: int) -> None:
    assert count_alarms(soil, days) == (count, 0)


# what was seen when this was written; two hours either way are within what soils do
@pytest.mark.parametrize(
    ("soil", "hours", "shown"),
    [
        *[("profile", -12, 7), ("profile", -8, 7), ("profile", 8, 7), ("profile", 12, 7)],
        *[("alfalfa", -12, 60), ("alfalfa", 12, 60), ("alfalfa", -4, 14), ("alfalfa", 4, 55)],
        pytest.param("alfalfa", -8, 59, marks=pytest.mark.long),  # as between 4 and 12
        pytest.param("alfalfa", 8, 60, marks=pytest.mark.long),
    ],
)
def test_a_clock_that_is_hours_off_shows_by_the_hour_of_the_peak(
    soil: str, hours: int, shown: int
) -> None:
    assert count_alarms(soil, 30, timedelta(hours=hours))[1] >= shown


HOUR = np.timedelta64(1, "h")


def set_by_an_hour(soil: str, depths: tuple[str, ...], change: str) -> tuple[int, int]:
    """Return how many months have a step in their middle, and how many of them show a sign."""
    _, interval_min, longitude_deg, zone, _ = SOILS[soil]
    rows = 60 // interval_min
    count, shown = 0, 0
    for number, file in enumerate(deliveries(soil, 30)):
        at = file.observed_at
        temps_c = file.soil_temp_c[:, [file.channels.index(depth) for depth in depths]]
        whole = ~np.isnan(temps_c).any(axis=1)
        at, temps_c = at[whole], np.round(temps_c[whole] * 16) / 16  # as sensors resolve it
        step = at.size // 2 + 5 * number % 24 * rows  # at another hour of each month
        near = at[step - 9 : step + 9]
        if at.size < 480 * rows or np.ptp(near) != 17 * np.timedelta64(interval_min, "m"):
            continue
        before, after = {
            "set on": (slice(step), slice(step, None)),
            "set back": (slice(step), slice(step, None)),
            "missing": (slice(step), slice(step + rows, None)),
            "repeated": (slice(step), slice(step - rows, None)),
        }[change]
        ahead = {"set on": HOUR, "set back": -HOUR}.get(change, 0 * HOUR)
        planted = as_file(
            np.concatenate([at[before], at[after] + ahead]),
            depths,
            np.concatenate([temps_c[before], temps_c[after]]),
        )
        depth_cm = {depth: float(depth) for depth in depths}
        count += 1
        shown += bool(find_set_by_an_hour(planted, depth_cm, longitude_deg, interval_min, zone))
    return count, shown


# what was seen when this was written; the module says what was measured on more
@pytest.mark.parametrize(
    ("soil", "depths", "change", "least"),
    [
        ("profile", ("10", "30"), "set on", 5),
        ("profile", ("10", "30"), "set back", 6),
        ("alfalfa", ("8", "16"), "set on", 35),
        ("alfalfa", ("8", "16"), "set back", 42),
    ],
)
def test_a_clock_that_was_set_by_an_hour_shows_by_curve_and_wave(
    soil: str, depths: tuple[str, ...], change: str, least: int
) -> None:
    count, shown = set_by_an_hour(soil, depths, change)
    assert least <= shown <= count


@pytest.mark.parametrize(
    ("soil", "depths"), [("profile", ("10", "30")), ("alfalfa", ("8", "16")), ("alfalfa", ("16",))]
)
@pytest.mark.parametrize("change", ["missing", "repeated"])
def test_an_hour_that_is_only_missing_or_repeated_is_no_sign(
    soil: str, depths: tuple[str, ...], change: str
) -> None:
    count, shown = set_by_an_hour(soil, depths, change)
    assert count >= 7
    assert shown == 0
