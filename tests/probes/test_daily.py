"""Daily means: which slot and day a reading belongs to, and when a day is complete."""

from __future__ import annotations

from math import nan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from probes.daily import find_daily_means, slot_hours
from probes.frames import DailyMeans, Readings

APRIL_1 = np.datetime64("2025-04-01T00:00", "us")


def daily(
    hours: NDArray[np.float64] | list[float],
    soil_temp_c: object = 10.0,
    flag: object = 1,
    *,
    utc_offset_min: int = 0,
    interval_min: float = 60,
    use_suspect: bool = False,
    calibration_offset_c: float | NDArray[np.float64] = 0.0,
) -> DailyMeans:
    """Return the daily means of readings so many hours after the start of 1 April (UTC)."""
    observed_at = APRIL_1 + (np.asarray(hours) * 3.6e9).astype("timedelta64[us]")
    readings = Readings(
        observed_at,
        np.broadcast_to(np.asarray(soil_temp_c, np.float64), observed_at.shape),
        np.broadcast_to(np.asarray(flag, np.int8), observed_at.shape),
    )
    return find_daily_means(
        readings, utc_offset_min, interval_min, use_suspect, calibration_offset_c
    )


def without(hours: range, *lost: int) -> list[float]:
    """Return the hours of a day without some."""
    return [float(hour) for hour in hours if hour not in lost]


@pytest.mark.parametrize(
    ("interval_min", "hours"),
    # by hand: the smallest of 1, 2, 3, 4, 6, 8, 12, 24 that holds the interval
    [
        (1, 1),
        (30, 1),
        (60, 1),
        (61, 2),
        (120, 2),
        (180, 3),
        (240, 4),
        (300, 6),
        (361, 8),
        (540, 12),
        (720, 12),
        (721, 24),
        (1440, 24),
    ],
)
def test_slots_hold_the_interval_between_readings(interval_min: float, hours: int) -> None:
    assert slot_hours(interval_min) == hours


@pytest.mark.parametrize("interval_min", [0, -60, 1441, nan])
def test_an_interval_that_fits_no_day_is_refused(interval_min: float) -> None:
    with pytest.raises(ValueError, match="interval_min"):
        slot_hours(interval_min)


@pytest.mark.parametrize(
    ("hour", "utc_offset_min", "day"),
    # by hand: a stamp belongs to the hour that ends with it
    [
        pytest.param(24, 0, "2025-04-01", id="midnight ends the day"),
        pytest.param(24 + 1 / 3600, 0, "2025-04-02", id="a second after midnight"),
        pytest.param(0, 0, "2025-03-31", id="midnight before"),
        pytest.param(8, -480, "2025-03-31", id="midnight at UTC-08:00"),
        pytest.param(8.5, -480, "2025-04-01", id="half past midnight at UTC-08:00"),
        pytest.param(14.5, 570, "2025-04-01", id="midnight at UTC+09:30"),
        pytest.param(15, 570, "2025-04-02", id="half past midnight at UTC+09:30"),
    ],
)
def test_a_reading_belongs_to_the_day_in_which_it_ends(hour, utc_offset_min, day) -> None:
    assert [str(each) for each in daily([hour], utc_offset_min=utc_offset_min).day] == [day]


def test_a_reading_at_nine_belongs_to_the_hour_before_nine() -> None:
    # by hand: 08:30 and 09:00 share slot 08-09 (mean 11), 09:30 stands alone (20): (11 + 20) / 2
    means = daily([8.5, 9.0, 9.5], [10.0, 12.0, 20.0], interval_min=30)
    assert (means.slots_present.tolist(), means.mean_c.tolist()) == ([2], [15.5])


@pytest.mark.parametrize("month", ["2025-03-09", "2025-11-02", "2025-10-05", "2025-04-06"])
def test_days_on_which_people_change_their_clocks_have_24_hours(month: str) -> None:
    first = (np.datetime64(month, "us") - APRIL_1) / np.timedelta64(1, "h") + 8
    means = daily(first + np.arange(1, 25), utc_offset_min=-480)
    assert (means.day.astype(str).tolist(), means.slots_present.tolist()) == ([month], [24])


@pytest.mark.parametrize(
    ("interval_min", "hours", "complete", "slots", "gap_h"),
    # by hand, from the coverage of at least 3/4 and the longest run of missing slots
    [
        pytest.param(60, without(range(1, 25)), True, 24, 0, id="all hours"),
        pytest.param(60, without(range(1, 25), 3, 4, 9, 14, 19, 24), True, 18, 2, id="exactly 3/4"),
        pytest.param(
            60, without(range(1, 25), 3, 4, 9, 14, 17, 19, 24), False, 17, 2, id="under 3/4"
        ),
        pytest.param(60, without(range(1, 25), 12, 13, 14), True, 21, 3, id="3 hours missing"),
        pytest.param(60, without(range(1, 25), 12, 13, 14, 15), False, 20, 4, id="4 hours missing"),
        pytest.param(60, without(range(1, 25), 1, 2, 3), True, 21, 3, id="3 hours at the start"),
        pytest.param(60, without(range(1, 25), 1, 2, 3, 4), False, 20, 4, id="4 at the start"),
        pytest.param(60, without(range(1, 25), 21, 22, 23, 24), False, 20, 4, id="4 at the end"),
        pytest.param(
            60, without(range(1, 25), 1, 2, 23, 24), True, 20, 2, id="a run ends at midnight"
        ),
        pytest.param(30, [hour / 2 for hour in range(1, 49)], True, 24, 0, id="half-hourly"),
        pytest.param(
            30, [hour + 0.5 for hour in range(24)], True, 24, 0, id="every second half hour"
        ),
        pytest.param(120, list(range(2, 25, 2)), True, 12, 0, id="2-hourly"),
        pytest.param(120, without(range(2, 25, 2), 12), True, 11, 2, id="2-hourly, one lost"),
        pytest.param(120, without(range(2, 25, 2), 12, 14), False, 10, 4, id="2-hourly, two lost"),
        pytest.param(
            120, without(range(2, 25, 2), 4, 12, 20), True, 9, 2, id="2-hourly, exactly 3/4"
        ),
        pytest.param(180, without(range(3, 25, 3), 6, 15), True, 6, 3, id="3-hourly, two apart"),
        pytest.param(240, without(range(4, 25, 4), 12), True, 5, 4, id="4-hourly, one lost"),
        pytest.param(240, without(range(4, 25, 4), 8, 16), False, 4, 4, id="4-hourly, two lost"),
        pytest.param(360, [6, 12, 18, 24], True, 4, 0, id="6-hourly"),
        pytest.param(360, [6, 18, 24], True, 3, 6, id="6-hourly, one lost"),
        pytest.param(360, [6, 24], False, 2, 12, id="6-hourly, two lost"),
        pytest.param(480, [8, 24], False, 2, 8, id="8-hourly, one lost"),
        pytest.param(720, [12, 24], True, 2, 0, id="12-hourly"),
        pytest.param(720, [24], False, 1, 12, id="12-hourly, one lost"),
        pytest.param(1440, [24], True, 1, 0, id="daily"),
    ],
)
def test_a_day_is_complete_by_coverage_and_longest_gap(
    interval_min, hours, complete, slots, gap_h
) -> None:
    means = daily(hours, interval_min=interval_min)
    found = (means.complete[0], means.slots_present[0], means.longest_gap_h[0], means.day.size)
    assert found == (complete, slots, gap_h, 1)


@pytest.mark.parametrize(
    ("flags", "use_suspect", "mean_c"),
    # by hand, of 10, 20 and 60 degC in three slots
    [
        pytest.param([1, 2, 4], False, 15.0, id="good and not evaluated count, failed does not"),
        pytest.param([1, 3, 4], False, 10.0, id="suspect does not"),
        pytest.param([1, 3, 4], True, 15.0, id="suspect does where the site says so"),
        pytest.param([2, 3, 4], True, 15.0, id="beside what was not evaluated too"),
        pytest.param([9, 1, 4], True, 20.0, id="missing never does"),
    ],
)
def test_flags_decide_what_counts(flags, use_suspect: bool, mean_c: float) -> None:
    assert daily([1, 2, 3], [10.0, 20.0, 60.0], flags, use_suspect=use_suspect).mean_c[0] == mean_c


def test_a_day_of_readings_that_may_not_be_used_has_no_mean() -> None:
    means = daily(np.arange(1, 49), 10.0, np.repeat([4, 1], 24))
    assert np.isnan(means.mean_c).tolist() == [True, False]
    assert means.complete.tolist() == [False, True]
    assert means.longest_gap_h.tolist() == [24, 0]


def test_sub_hourly_readings_are_averaged_within_their_hour_first() -> None:
    # by hand: hour 1 has 10 and 20 (mean 15), hour 2 only 30: (15 + 30) / 2, not (10+20+30) / 3
    assert daily([0.5, 1.0, 2.0], [10.0, 20.0, 30.0], interval_min=30).mean_c.tolist() == [22.5]


@pytest.mark.parametrize(
    ("calibration_offset_c", "mean_c"),
    [
        pytest.param(0.5, 15.5, id="one offset"),
        # by hand: (10 + 0.5 + 20 - 1.5) / 2
        pytest.param(np.array([0.5, -1.5]), 14.5, id="an offset for each reading"),
    ],
)
def test_calibration_is_added_to_each_reading(calibration_offset_c, mean_c: float) -> None:
    means = daily([1, 2], [10.0, 20.0], calibration_offset_c=calibration_offset_c)
    assert means.mean_c.tolist() == [mean_c]


def test_days_without_a_reading_are_left_out() -> None:
    means = daily([12.0, 24 * 5 + 12.0])
    assert means.day.astype(str).tolist() == ["2025-04-01", "2025-04-06"]


def test_no_readings_make_no_days() -> None:
    assert daily([]).day.size == 0


def plain_day(hours: list[int], values_c: list[float]) -> tuple[float, int, bool]:
    """Return mean, longest gap and completeness of one day of hourly readings, by plain loops."""
    there = [hour in hours for hour in range(1, 25)]
    gaps = "".join("x" if each else "." for each in there).split("x")
    longest = max(len(gap) for gap in gaps)
    mean_c = sum(values_c) / len(values_c)
    return mean_c, longest, sum(there) / 24 >= 0.75 and longest <= 3


@given(
    st.lists(
        st.dictionaries(st.integers(1, 24), st.floats(-30, 50), min_size=1), min_size=1, max_size=5
    )
)
def test_any_hourly_days_agree_with_plain_loops(days: list[dict[int, float]]) -> None:
    days = [dict(sorted(each.items())) for each in days]
    hours = [24 * number + hour for number, each in enumerate(days) for hour in each]
    values_c = [value_c for each in days for value_c in each.values()]
    means = daily(hours, values_c)
    expected = [plain_day(list(each), list(each.values())) for each in days]
    assert means.mean_c.tolist() == pytest.approx([each[0] for each in expected], abs=1e-9)  # degC
    assert means.longest_gap_h.tolist() == [each[1] for each in expected]
    assert means.complete.tolist() == [each[2] for each in expected]
