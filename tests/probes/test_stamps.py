"""Stamps: text to instants, and the order of rows in time."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from probes.stamps import find_out_of_order, read_stamps
from probes.wall_times import check_time_format
from tests.logger_texts import layout


def instant_of(text: str, time_format: str, clock: str = "UTC", **fields: object) -> str:
    """Return the instant of a stamp to the second."""
    observed_at, _ = read_stamps([text], layout(clock, time_format=time_format, **fields))
    return str(observed_at[0])[:19]


@pytest.mark.parametrize(
    ("time_format", "stamp"),
    [
        ("%Y-%m-%d %H:%M", "2025-04-01 13:30"),
        ("%Y-%m-%d %H:%M:%S", "2025-04-01 13:30:00"),
        ("%Y-%m-%dT%H:%M:%SZ", "2025-04-01T13:30:00Z"),
        ("%Y-%m-%dT%H:%M+00:00", "2025-04-01T13:30+00:00"),
        ("%m/%d/%Y %H:%M", "4/1/2025 13:30"),
        ("%d.%m.%Y %H:%M", "01.04.2025 13:30"),
        ("%m/%d/%y %I:%M %p", "04/01/25 01:30 PM"),
        ("%d %b %Y %H:%M", "01 Apr 2025 13:30"),
        ("%H:%M %d.%m.%Y", "13:30 01.04.2025"),
        ("%m/%d/%Y-%I:%M %p", "04/01/2025-01:30 PM"),
        ("%Y%m%d%H%M", "202504011330"),
        ("%Y%m%d %H%M", "20250401 1330"),
        ("%Y %j %H%M", "2025 091 1330"),
    ],
)
def test_a_stamp_is_read_by_its_format(time_format: str, stamp: str) -> None:
    assert instant_of(stamp, time_format) == "2025-04-01T13:30:00"


def test_a_date_in_two_pieces_is_right_in_a_leap_year() -> None:
    assert instant_of("01.04. 2024;13:30", "%d.%m. %Y;%H:%M") == "2024-04-01T13:30:00"


@pytest.mark.parametrize(
    ("time_format", "stamp"),
    [
        ("%Y-%m-%d %H:%M", "2025-04-01 13:30:00"),
        ("%Y-%m-%d %H:%M", "2025-04-01"),
        ("%Y-%m-%d %H:%M", "2025-04-01 13:30 PM"),
        ("%Y-%m-%d %H:%M", "2025-04-01T13:30"),
        ("%Y-%m-%d %H:%M", "2025-02-29 13:30"),
        ("%Y-%m-%d %H:%M", "now"),
        ("%Y-%m-%d %H:%M", "today"),
        ("%Y-%m-%d %H:%M", "NaT"),
        ("%Y-%m-%d %H:%M", ""),
        ("%Y-%m-%d %H:%M", "45748.5"),
        ("%m/%d/%Y %H:%M", "13/04/2025 13:30"),
        ("%m/%d/%Y %H:%M", "04/01/2025 now"),
        ("%m/%d/%Y %H:%M", "today 13:30"),
        ("%m/%d/%Y %H:%M", "04/01/2025 13:30 x"),
        ("%m/%d/%Y %H:%M", "04/01/2025"),
        ("%m/%d/%y %I:%M %p", "04/01/25 13:30 PM"),
        ("%Y%m%d%H%M", "2025040113"),
        ("%Y%m%d %H%M", "20250401 130"),
    ],
)
def test_a_stamp_that_does_not_match_from_end_to_end_has_no_instant(time_format, stamp) -> None:
    observed_at, reasons = read_stamps([stamp], layout(time_format=time_format))
    assert np.isnat(observed_at[0])
    assert f"'{stamp}' is not a time written as \"{time_format}\"" in reasons[0]
    assert "time_format in layout.upper" in reasons[0]


@pytest.mark.parametrize(
    ("stamp", "clock", "reason"),
    [
        pytest.param(
            "2025-11-02 01:30",
            "America/New_York",
            "'2025-11-02 01:30' happens twice in America/New_York; "
            'set clock = "UTC-05:00" in layout.upper '
            "if the logger keeps standard time all year",
            id="fall-back hour",
        ),
        pytest.param(
            "2025-03-09 02:30",
            "America/New_York",
            "'2025-03-09 02:30' never happens in America/New_York; "
            'set clock = "UTC-05:00" in layout.upper '
            "if the logger keeps standard time all year",
            id="spring-forward hour",
        ),
        pytest.param(
            "2025-04-06 01:45",
            "Australia/Lord_Howe",
            "'2025-04-06 01:45' happens twice in Australia/Lord_Howe; "
            'set clock = "UTC+10:30" in layout.upper '
            "if the logger keeps standard time all year",
            id="fall-back half-hour",
        ),
        pytest.param(
            "1900-04-01 10:00",
            "UTC",
            "'1900-04-01 10:00' lies outside the years 1901 to 2199; "
            "set the logger's clock, or correct time_format in layout.upper",
            id="a year no logger has seen",
        ),
        pytest.param(
            "2200-01-01 00:00",
            "UTC",
            "'2200-01-01 00:00' lies outside the years 1901 to 2199; "
            "set the logger's clock, or correct time_format in layout.upper",
            id="a year no logger will see",
        ),
    ],
)
def test_a_time_that_cannot_be_trusted_says_why_and_what_to_do(stamp, clock, reason) -> None:
    observed_at, reasons = read_stamps([stamp], layout(clock))
    assert (str(observed_at[0]), reasons) == ("NaT", {0: reason})


@pytest.mark.parametrize(
    ("stamp", "interval_min", "observed_at"),
    [
        ("end", 60, "2025-04-01T17:00:00"),
        ("instant", 60, "2025-04-01T17:00:00"),
        ("start", 60, "2025-04-01T18:00:00"),
        ("start", 0.5, "2025-04-01T17:00:30"),
    ],
)
def test_a_stamp_at_the_start_moves_to_the_end(stamp, interval_min, observed_at) -> None:
    found = instant_of(
        "2025-04-01 09:00", "%Y-%m-%d %H:%M", "UTC-08:00", stamp=stamp, interval_min=interval_min
    )
    assert found == observed_at


@pytest.mark.parametrize(
    ("time_format", "remedy"),
    [
        ("%m/%d/%Y %H:%M %p", "write %I for %H"),
        ("%m/%d/%Y %I:%M", "write %H for %I"),
        ("%Y-%m-%dT%H:%M%z", "set clock to it"),
        ("%Y-%m-%d %Q", "cannot be read"),
        ("%Y-%Y", "cannot be read"),
        ("ISO8601", "cannot be read"),
        ("mixed", "cannot be read"),
    ],
)
def test_a_format_that_would_be_read_wrongly_is_refused(time_format: str, remedy: str) -> None:
    with pytest.raises(ValueError, match=remedy):
        check_time_format(time_format)


def out_of_order(*hours: int) -> list[int]:
    """Return the places of the rows that break the order."""
    observed_at = np.datetime64("2025-04-01", "us") + np.array(hours, "timedelta64[h]")
    return np.flatnonzero(find_out_of_order(observed_at)).tolist()


@pytest.mark.parametrize(
    ("hours", "places"),
    # by hand
    [
        pytest.param((), [], id="no rows"),
        pytest.param((5,), [], id="one row"),
        pytest.param((1, 2, 3, 4), [], id="forward"),
        pytest.param((4, 3, 2, 1), [], id="backward"),
        pytest.param((1, 2, 3, 9, 4), [4], id="either of two could go: the later goes"),
        pytest.param((1, 2, 3, 900, 4, 5, 6), [3], id="one jump far ahead costs only itself"),
        pytest.param((1, 2, 900, 901, 3, 4, 5), [2, 3], id="two rows far ahead"),
        pytest.param((11, 12, 13, -900, 14, 15), [3], id="one jump far back"),
        pytest.param((5, 6, 7, 1, 2, 8, 9), [3, 4], id="older rows in the middle"),
        pytest.param((6, 5, 4, 9, 3, 2), [3], id="a jump in a backward file"),
        pytest.param((1, 2, 2, 3), [], id="a repeat beside its row"),
        pytest.param((5, 5, 5, 5, 1, 2, 6), [4, 5], id="repeats count among the longest run"),
        pytest.param((1, 2, 3, 4, 2, 3, 4, 5), [], id="an export joined to an older one"),
        pytest.param((4, 3, 2, 3, 1), [], id="a repeat in a backward file"),
        pytest.param((1, 2, 5, 3, 4, 5), [2], id="a jump ahead to a time read later"),
    ],
)
def test_the_longest_ordered_run_and_repeats_of_it_are_kept(hours, places: list[int]) -> None:
    assert out_of_order(*hours) == places


def longest_ordered(hours: list[int]) -> int:
    """Return the length of the longest run that never steps back, by a plain double loop."""
    best: list[int] = []
    for place, hour in enumerate(hours):
        best.append(1 + max((best[i] for i in range(place) if hours[i] <= hour), default=0))
    return max(best, default=0)


@given(st.lists(st.integers(0, 1000), unique=True, min_size=2, max_size=30))
def test_no_row_too_many_is_lost(hours: list[int]) -> None:
    steps = sum(1 if later > earlier else -1 for earlier, later in pairwise(hours))
    forward = hours if steps >= 0 else [-hour for hour in hours]
    assert len(hours) - len(out_of_order(*hours)) == longest_ordered(forward)
