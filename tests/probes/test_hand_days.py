"""Days of a thermometer read by hand, held against the true daily means of real soil."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from probes.daily import find_daily_means
from probes.frames import FAIL, GOOD, SUSPECT, Readings
from probes.hand_days import (
    BRIDGED_C,
    CORRECTED_C,
    MEASURED_HOURS,
    MOST_DAYS_APART,
    OWN_ERROR_C,
    UNCORRECTED_C,
    DayFromInstant,
    bridge_days,
    find_error_c,
    find_hand_days,
)
from tests.soil_series import profile, twitchell

HOUR = np.timedelta64(1, "h")
UTAH_MIN, TWITCHELL_MIN = -420, -480


def true_days(series, utc_offset_min: int) -> tuple[NDArray[np.datetime64], NDArray[np.float64]]:
    """Return days in a row and their true means, NaN where the day is not complete."""
    readings = Readings(
        series.observed_at, series.soil_temp_c, np.full(series.soil_temp_c.size, GOOD, np.int8)
    )
    means = find_daily_means(readings, utc_offset_min, 60, use_suspect=False)
    days = np.arange(means.day[0], means.day[-1] + 1)
    true_c = np.full(days.size, np.nan)
    true_c[(means.day - days[0]).astype(int)] = np.where(means.complete, means.mean_c, np.nan)
    return days, true_c


def differences(series, utc_offset_min: int, hour: int) -> NDArray[np.float64]:
    """Return the true mean less the instant at an hour, on days of 12 to 30 °C."""
    days, true_c = true_days(series, utc_offset_min)
    at = days.astype("datetime64[us]") + hour * HOUR - np.timedelta64(utc_offset_min, "m")
    place = np.searchsorted(series.observed_at, at).clip(max=series.observed_at.size - 1)
    there = (series.observed_at[place] == at) & (true_c > 12) & (true_c < 30)
    return (true_c - series.soil_temp_c[place])[there]


def root_mean_square(values: NDArray[np.float64]) -> float:
    return float(np.sqrt(np.nanmean(values**2)))


@pytest.mark.parametrize("hour", MEASURED_HOURS)
def test_the_errors_of_an_instant_are_those_of_the_real_profile(hour: int) -> None:
    # source: [UTAH-PROFILE], 155 to 170 days at each depth
    found = [differences(series, UTAH_MIN, hour) for series in profile()]
    place = MEASURED_HOURS.index(hour)
    uncorrected_c = [root_mean_square(one) for one in found]
    corrected_c = [one.std(ddof=1) for one in found]
    assert uncorrected_c == pytest.approx(UNCORRECTED_C[:, place].tolist(), abs=0.006)
    assert corrected_c == pytest.approx(CORRECTED_C[:, place].tolist(), abs=0.006)


@pytest.mark.parametrize("hour", [6, 8, 9, 15, 18])
@pytest.mark.parametrize("place", [3, 4], ids=["16 cm", "32 cm"])
def test_another_soil_errs_no_more_than_is_said(place: int, hour: int) -> None:
    # source: [US-TW3], 1,200 to 1,300 days under alfalfa
    series = twitchell()[place]
    found = root_mean_square(differences(series, TWITCHELL_MIN, hour))
    assert found <= find_error_c(series.depth_cm, hour, corrected=False)


def test_a_correction_learnt_in_one_half_of_the_days_helps_in_the_other() -> None:
    # source: [UTAH-PROFILE] at 20 cm, 08:00: every second day
    found = differences(profile()[2], UTAH_MIN, 8)
    learnt_c = found[::2].mean()
    assert root_mean_square(found[1::2]) == pytest.approx(1.54, abs=0.05)
    assert root_mean_square(found[1::2] - learnt_c) == pytest.approx(0.62, abs=0.05)


@pytest.mark.parametrize(("place", "days_apart"), [(p, n) for p in range(7) for n in (2, 3, 4)])
def test_days_between_two_err_on_real_soil_as_is_said(place: int, days_apart: int) -> None:
    # source: [UTAH-PROFILE]: true means on every n-th day, the middle one bridged
    _, true_c = true_days(profile()[place], UTAH_MIN)
    middle = days_apart // 2
    found = []
    for begin in range(true_c.size - days_apart):
        ends = true_c[[begin, begin + days_apart]]
        line_c = ends[0] + (ends[1] - ends[0]) * middle / days_apart
        found.append(true_c[begin + middle] - line_c)
    said_c = BRIDGED_C[place] * np.sqrt(middle * (days_apart - middle))
    assert root_mean_square(np.array(found)) == pytest.approx(said_c, rel=0.3)


def at(*hours: float) -> NDArray[np.datetime64]:
    """Return instants, hours after midnight UTC on 12 April 2026."""
    start = np.datetime64("2026-04-12", "us")
    return start + (np.array(hours) * 3600e6).astype("timedelta64[us]")


def days_of(hours, values_c, rule=None, flags=None, utc_offset_min=0, use_suspect=False):
    readings = Readings(
        at(*hours), np.array(values_c), np.array(flags or [GOOD] * len(hours), np.int8)
    )
    depth_cm = np.full(len(hours), 30.0)
    rule = rule or DayFromInstant()
    return find_hand_days(
        readings, utc_offset_min, use_suspect, depth_cm, np.zeros(len(hours)), rule
    )


CORRECTED = DayFromInstant({30.0: {8: 0.4, 17: -0.1}})


@pytest.mark.parametrize(
    ("hour", "value_c"),
    [(7.5, 16.4), (8.0, 16.4), (8.49, 16.4), (8.5, 16.0), (7.49, 16.0), (17.2, 15.9)],
)
def test_a_reading_is_corrected_by_the_nearest_hour(hour: float, value_c: float) -> None:
    # by hand: 16.0 with what is declared for the nearest full hour
    assert days_of([hour], [16.0], CORRECTED).mean_c.tolist() == pytest.approx([value_c])


def test_the_error_of_a_corrected_hour_is_smaller_and_neither_is_below_the_thermometers() -> None:
    corrected = days_of([8.0], [16.0], CORRECTED).error_c
    uncorrected = days_of([8.0], [16.0]).error_c
    assert OWN_ERROR_C < corrected[0] < uncorrected[0]
    # by hand: between 0.23 at 6 and 0.62 at 9 o'clock: 0.49; with 0.5: 0.70
    assert uncorrected[0] == pytest.approx(np.hypot(0.49, 0.5), abs=0.001)


def test_a_declared_error_counts_instead() -> None:
    assert days_of([8.0], [16.0], DayFromInstant(error_c=0.9)).error_c.tolist() == [0.9]


def test_the_hour_and_the_day_are_of_local_standard_time() -> None:
    # by hand: 15:30 UTC is 07:30 at UTC-08:00, nearest to 8; 06:30 UTC is 22:30 the day before
    means = days_of([15.5, 6.5], [16.0, 15.0], CORRECTED, utc_offset_min=-480)
    assert means.day.astype(str).tolist() == ["2026-04-11", "2026-04-12"]
    assert means.mean_c.tolist() == pytest.approx([15.0, 16.4])


def test_readings_of_a_day_are_averaged_and_their_error_is_not_made_smaller() -> None:
    both = days_of([8.0, 17.0], [16.0, 17.0])
    each = [days_of([hour], [16.0]).error_c[0] for hour in (8.0, 17.0)]
    assert both.mean_c.tolist() == [16.5]
    assert both.error_c.tolist() == pytest.approx([np.mean(each)])


@pytest.mark.parametrize(
    ("flag", "use_suspect", "value_c"),
    [(FAIL, True, np.nan), (SUSPECT, False, np.nan), (SUSPECT, True, 16.0)],
)
def test_a_flagged_reading_makes_no_day(flag: int, use_suspect: bool, value_c: float) -> None:
    means = days_of([8.0], [16.0], flags=[flag], use_suspect=use_suspect)
    assert means.mean_c.tolist() == pytest.approx([value_c], nan_ok=True)
    assert means.complete.tolist() == [value_c == value_c]


def bridged(*values_c: float, depth_cm: float = 30.0):
    mean_c = np.array(values_c)
    error_c = np.where(np.isnan(mean_c), np.nan, 0.6)
    return bridge_days(mean_c, error_c, np.full(mean_c.size, depth_cm))


NAN = np.nan


def test_days_between_two_readings_lie_on_a_line_with_an_error_that_grows() -> None:
    mean_c, error_c, between = bridged(14.0, NAN, NAN, NAN, 16.0)
    assert mean_c.tolist() == [14.0, 14.5, 15.0, 15.5, 16.0]
    # by hand: 0.34 x sqrt(1 x 3) and 0.34 x sqrt(2 x 2) beside 0.6
    expected_c = [0.6, np.hypot(0.6, 0.34 * 3**0.5), np.hypot(0.6, 0.68)]
    assert error_c.tolist() == pytest.approx([*expected_c, expected_c[1], 0.6])
    assert between.tolist() == [False, True, True, True, False]


def test_days_between_readings_that_lie_too_far_apart_stay_empty() -> None:
    mean_c, _, between = bridged(14.0, NAN, NAN, NAN, NAN, 16.0)
    assert np.isnan(mean_c[1:5]).all()
    assert not between.any()


def test_days_between_two_depths_stay_empty() -> None:
    mean_c = np.array([14.0, NAN, 16.0])
    _, _, between = bridge_days(mean_c, mean_c * 0 + 0.6, np.array([15.0, 15.0, 30.0]))
    assert not between.any()


@given(st.lists(st.sampled_from([14.0, 16.0, NAN]), min_size=1, max_size=20))
def test_what_was_known_on_a_day_does_not_change_what_was_read(values_c: list[float]) -> None:
    mean_c, _, between = bridged(*values_c)
    read = ~np.isnan(values_c)
    assert np.array_equal(mean_c[read], np.array(values_c)[read])
    assert not between[read].any()
    last = np.flatnonzero(read)[-1] if read.any() else -1
    assert np.isnan(mean_c[last + 1 :]).all()
    filled = np.flatnonzero(between)
    nearest = [np.abs(np.flatnonzero(read) - place).min() for place in filled]
    assert all(days < MOST_DAYS_APART for days in nearest)
