"""Signs of a wrong clock in real soil: none where the clock is right, one where it is not.

[UTAH-PROFILE], [US-TW3] at their standard time. Six years cut into deliveries of a week, a month
and a year make 357, of which none may raise an alarm.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, timedelta

import numpy as np
import pytest

from probes.clock import parse_clock
from probes.clock_signs import ClockFacts, find_clock_signs
from probes.frames import LoggerFile
from tests.clock_files import as_file
from tests.soil_series import profile, twitchell

SOILS = {  # series, interval [min], degrees east, zone, clock
    "profile": (profile, 60, -111.8, "America/Denver", "UTC-07:00"),
    "alfalfa": (twitchell, 30, -121.65, "America/Los_Angeles", "UTC-08:00"),
}


def deliveries(soil: str, days: int, shift: timedelta = timedelta()) -> Iterator[LoggerFile]:
    """Yield the readings of a soil, so many days at a time, by a clock that is off."""
    series = SOILS[soil][0]()
    at = np.unique(np.concatenate([one.observed_at for one in series]))
    soil_temp_c = np.full((at.size, len(series)), np.nan)
    for place, one in enumerate(series):
        soil_temp_c[np.searchsorted(at, one.observed_at), place] = one.soil_temp_c
    channels = [f"{one.depth_cm:g}" for one in series]
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
        *[("alfalfa", -12, 60), ("alfalfa", -8, 59), ("alfalfa", 8, 60), ("alfalfa", 12, 60)],
        *[("alfalfa", -4, 14), ("alfalfa", 4, 55)],
    ],
)
def test_a_clock_that_is_hours_off_shows_by_the_hour_of_the_peak(
    soil: str, hours: int, shown: int
) -> None:
    assert count_alarms(soil, 30, timedelta(hours=hours))[1] >= shown
