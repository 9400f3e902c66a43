"""Signs of a wrong clock: each is seen where it is, and not where the clock is right."""

from __future__ import annotations

from datetime import timedelta
from math import cos, tau
from pathlib import Path

import pytest

from tests.clock_files import ARRIVED, ZONE, all_year, hourly, on_the_wall, signs_of

SPRING, FALL = "2025-03-01T00:00", "2025-10-20T00:00"  # summer time begins and ends in between
FIXED = "UTC-08:00"
MINUTE = timedelta(minutes=1)


def test_a_clock_that_runs_as_declared_shows_none(tmp_path: Path) -> None:
    assert signs_of(tmp_path, all_year(hourly(SPRING, 300)), FIXED) == []


def test_a_clock_that_follows_summer_time_as_declared_shows_none(tmp_path: Path) -> None:
    # the hour that happens twice is rejected; it stands there twice, as it should
    assert signs_of(tmp_path, on_the_wall(hourly(SPRING, 300)), ZONE) == []


@pytest.mark.parametrize("first", [SPRING, FALL])
@pytest.mark.parametrize("every_min", [10, 60])
def test_a_step_of_summer_time_shows_in_a_clock_declared_fixed(
    tmp_path: Path, first: str, every_min: int
) -> None:
    stamps = on_the_wall(hourly(first, 20, every_min))
    signs = " ".join(signs_of(tmp_path, stamps, FIXED, every_min))
    night = "2025-03-09" if first == SPRING else "2025-11-02"
    assert f"the stamps of {night} say that the logger follows summer time" in signs
    assert f'set clock = "{ZONE}" in layout.upper' in signs


@pytest.mark.parametrize("first", [SPRING, FALL])
@pytest.mark.parametrize("every_min", [10, 60])
def test_no_step_of_summer_time_shows_in_a_clock_declared_local(
    tmp_path: Path, first: str, every_min: int
) -> None:
    (sign,) = signs_of(tmp_path, all_year(hourly(first, 20, every_min)), ZONE, every_min)
    assert "the logger keeps one time all year" in sign
    assert f'set clock = "{FIXED}"' in sign


def test_a_slow_logger_that_stamps_an_hour_that_never_happens_keeps_one_time_all_year(
    tmp_path: Path,
) -> None:
    signs = signs_of(tmp_path, all_year(hourly(SPRING, 20, 120)), ZONE, 120)
    assert "the logger keeps one time all year" in " ".join(signs)


def test_a_clock_that_was_set_forward_jumps(tmp_path: Path) -> None:
    instants = hourly(SPRING, 5)
    late = [at + 17 * MINUTE for at in instants[60:]]
    (sign,) = signs_of(tmp_path, all_year(instants[:60] + late), FIXED)
    # by hand: the 61st hour after midnight is 12:00 of the third day, 17 min later and in UTC
    assert "the stamps jump by +17 min beyond the interval at 2025-03-03 20:17 UTC" in sign


def test_a_clock_that_was_set_back_steps_back(tmp_path: Path) -> None:
    instants = hourly(SPRING, 5)
    back = [at - timedelta(hours=9, minutes=20) for at in instants[100:]]
    signs = " ".join(signs_of(tmp_path, all_year(instants[:100] + back), FIXED))
    assert "time steps back and" in signs


@pytest.mark.parametrize(
    ("hours", "told"),
    [
        (1, "an hour is missing after 2025-04-11 18:00 UTC, as if the clock had been set on"),
        (
            -1,
            "an hour is there twice after 2025-04-11 18:00 UTC, as if the clock had been set back",
        ),
        (0, None),
    ],
)
@pytest.mark.parametrize("every_min", [20, 60])
def test_a_clock_that_was_set_by_an_hour_bends_the_curve_and_moves_the_wave(
    tmp_path: Path, every_min: int, hours: int, told: str | None
) -> None:
    instants = hourly("2025-04-01T00:00", 20, every_min)
    place = instants.index(ARRIVED.replace(year=2025, month=4, day=11, hour=18)) + 1
    # by hand: the wave of the soil at 10 cm is highest at 17:00 by the sun
    temps_c = [15 + 3 * cos(tau * (at.hour + at.minute / 60 - 25) / 24) for at in instants]
    stamped = instants[:place] + [at + timedelta(hours=hours) for at in instants[place:]]
    signs = signs_of(tmp_path, all_year(stamped), FIXED, every_min, temps_c)
    assert [sign[: len(told or "")] for sign in signs] == ([told] if told else [])
    assert not told or "the daily wave at 10 cm comes 1.0 h" in signs[0]


def test_another_interval_is_no_clock_that_was_set(tmp_path: Path) -> None:
    (sign,) = signs_of(tmp_path, all_year(hourly(SPRING, 5, 25)), FIXED, 60)
    assert "set interval_min to what the logger keeps" in sign


def test_a_gap_is_no_sign(tmp_path: Path) -> None:
    instants = hourly(SPRING, 5)
    assert signs_of(tmp_path, all_year(instants[:30] + instants[50:]), FIXED) == []


def test_a_stamp_of_the_future_shows(tmp_path: Path) -> None:
    instants = hourly(SPRING, 5)
    now = instants[-1] - timedelta(hours=3)
    (sign,) = signs_of(tmp_path, all_year(instants), FIXED, arrived_at=now)
    assert "lies 3.0 h in the future" in sign


def test_a_clock_that_gains_a_little_is_no_sign(tmp_path: Path) -> None:
    instants = hourly(SPRING, 5)
    now = instants[-1] - 15 * MINUTE
    assert signs_of(tmp_path, all_year(instants), FIXED, arrived_at=now) == []


@pytest.mark.parametrize("first", ["1970-01-01T00:10", "1980-01-06T00:00", "2000-01-01T00:00"])
def test_a_clock_that_lost_its_power_shows(tmp_path: Path, first: str) -> None:
    (sign,) = signs_of(tmp_path, all_year(hourly(first, 5)), FIXED)
    assert f"the first stamp, {first[:10]} " in sign


def test_a_history_of_another_day_of_that_year_is_no_sign(tmp_path: Path) -> None:
    assert signs_of(tmp_path, all_year(hourly("2000-03-01T00:00", 5)), FIXED) == []


def arrivals(minutes_a_day: float, days: int = 30):
    """Return deliveries at noon of each day, of a clock that loses so much."""
    noon = ARRIVED - timedelta(days=days)
    at = [noon + timedelta(days=day) for day in range(days)]
    lag = [timedelta(minutes=90 + minutes_a_day * day + day % 3) for day in range(days)]
    return [(arrived, arrived - one) for arrived, one in zip(at, lag, strict=True)]


@pytest.mark.parametrize(
    ("minutes_a_day", "way"), [(2.0, "slow"), (-2.0, "fast")], ids=["slow", "fast"]
)
def test_a_clock_that_drifts_shows_against_arrival(
    tmp_path: Path, minutes_a_day: float, way: str
) -> None:
    earlier = arrivals(minutes_a_day)
    stamps = all_year([earlier[-1][1]])
    (sign,) = signs_of(tmp_path, stamps, FIXED, arrived_at=earlier[-1][0], earlier=earlier[:-1])
    assert f"the clock runs {way}" in sign


def test_deliveries_that_always_come_as_late_are_no_drift(tmp_path: Path) -> None:
    earlier = arrivals(0.0)
    stamps = all_year([earlier[-1][1]])
    assert signs_of(tmp_path, stamps, FIXED, arrived_at=earlier[-1][0], earlier=earlier[:-1]) == []


def days_that_peak_at(hour: float) -> tuple[list[str], list[float]]:
    """Return ten days whose wave at 10 cm peaks at an hour of the sun, which is that of UTC-08."""
    instants = hourly(SPRING, 7)
    temps_c = [15 + 3 * cos(tau * (step % 24 - hour) / 24) for step in range(len(instants))]
    return all_year(instants), temps_c


# by hand, of the spans in peak_hours.py: at 10 cm from 11.5 + 2.1 = 13.6 to 16 + 7.7 = 23.7
@pytest.mark.parametrize("hour", [14.0, 17.0, 23.0])
def test_a_peak_at_an_hour_that_its_depth_allows_is_no_sign(tmp_path: Path, hour: float) -> None:
    stamps, temps_c = days_that_peak_at(hour)
    assert signs_of(tmp_path, stamps, FIXED, temps_c=temps_c) == []


@pytest.mark.parametrize(("hour", "way"), [(4.0, "late"), (11.0, "early")])
def test_a_peak_at_an_impossible_hour_for_its_depth_shows(
    tmp_path: Path, hour: float, way: str
) -> None:
    stamps, temps_c = days_that_peak_at(hour)
    (sign,) = signs_of(tmp_path, stamps, FIXED, temps_c=temps_c)
    assert f"soil is warmest at {hour:02.0f}:00 by the sun at 10 cm" in sign
    assert f"too {way}" in sign
