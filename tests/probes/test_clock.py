"""What a logger's clock says in UTC, and where a site's day ends."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from probes.clock import (
    AMBIGUOUS,
    NONEXISTENT,
    OK,
    format_offset,
    last_ended_day,
    local_to_utc,
    parse_clock,
    parse_offset_min,
    standard_offset_min,
)


# source of the changes of clock: the IANA time zone database, as tzdata carries it
@pytest.mark.parametrize(
    ("clock", "local", "utc", "problem"),
    [
        pytest.param("UTC", "2025-04-01T09:00", "2025-04-01T09:00", OK, id="UTC"),
        pytest.param("UTC-08:00", "2025-11-02T01:30", "2025-11-02T09:30", OK, id="fixed, fall"),
        pytest.param("UTC-08:00", "2025-03-09T02:30", "2025-03-09T10:30", OK, id="fixed, spring"),
        pytest.param("UTC+09:30", "2025-04-01T00:00", "2025-03-31T14:30", OK, id="half an hour"),
        pytest.param(
            "America/New_York", "2025-11-02T00:59", "2025-11-02T04:59", OK, id="before the fold"
        ),
        pytest.param("America/New_York", "2025-11-02T01:00", "NaT", AMBIGUOUS, id="fold begins"),
        pytest.param("America/New_York", "2025-11-02T01:59", "NaT", AMBIGUOUS, id="fold ends"),
        pytest.param(
            "America/New_York", "2025-11-02T02:00", "2025-11-02T07:00", OK, id="after the fold"
        ),
        pytest.param("America/New_York", "2025-03-09T02:00", "NaT", NONEXISTENT, id="gap begins"),
        pytest.param("America/New_York", "2025-03-09T02:59", "NaT", NONEXISTENT, id="gap ends"),
        pytest.param(
            "America/New_York", "2025-03-09T03:00", "2025-03-09T07:00", OK, id="after the gap"
        ),
        pytest.param(
            "America/New_York", "2040-07-01T12:00", "2040-07-01T16:00", OK, id="summer after 2037"
        ),
        pytest.param(
            "Australia/Lord_Howe", "2025-04-06T01:29", "2025-04-05T14:29", OK, id="half: before"
        ),
        pytest.param("Australia/Lord_Howe", "2025-04-06T01:30", "NaT", AMBIGUOUS, id="half: fold"),
        pytest.param(
            "Australia/Lord_Howe", "2025-04-06T02:00", "2025-04-05T15:30", OK, id="half: after"
        ),
        pytest.param(
            "Australia/Lord_Howe", "2025-10-05T02:29", "NaT", NONEXISTENT, id="half: gap ends"
        ),
        pytest.param(
            "Australia/Lord_Howe", "2025-10-05T02:30", "2025-10-04T15:30", OK, id="half: after gap"
        ),
    ],
)
def test_a_stamp_has_one_instant_or_none(clock, local, utc, problem) -> None:
    instants, problems = local_to_utc(np.array([local], "datetime64[us]"), parse_clock(clock))
    assert (str(instants[0])[:16], problems[0]) == (utc, problem)


@given(st.integers(0, 100 * 366 * 24 * 60))
def test_a_local_time_with_one_instant_leads_back_to_it(minutes: int) -> None:
    instant = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
    local = instant.astimezone(ZoneInfo("Australia/Lord_Howe")).replace(tzinfo=None)
    utc, problem = local_to_utc(
        np.array([local], "datetime64[us]"), parse_clock("Australia/Lord_Howe")
    )
    expected = AMBIGUOUS if np.isnat(utc[0]) else OK
    assert problem[0] == expected
    assert np.isnat(utc[0]) or utc[0] == np.datetime64(instant.replace(tzinfo=None), "us")


@pytest.mark.parametrize("text", ["PST", "UTC-8", "UTC+15:00", "GMT+1", "", "Mars/Olympus"])
def test_what_is_no_clock_is_refused_with_what_to_write(text: str) -> None:
    with pytest.raises(ValueError, match="UTC-08:00"):
        parse_clock(text)


@given(st.integers(-14 * 60, 14 * 60))
def test_an_offset_survives_being_written(offset_min: int) -> None:
    assert parse_offset_min(format_offset(offset_min)) == offset_min


@pytest.mark.parametrize(
    ("zone", "offset_min"),
    # source: IANA time zone database
    [
        ("America/Los_Angeles", -480),
        ("Australia/Adelaide", 570),
        ("Australia/Lord_Howe", 630),
        ("America/Phoenix", -420),
    ],
)
def test_standard_time_is_the_same_on_both_hemispheres(zone: str, offset_min: int) -> None:
    assert standard_offset_min(zone, 2025) == offset_min


@pytest.mark.parametrize(
    ("now", "ended"),
    # by hand: at UTC-08:00 the day of 1 April ends at 08:00 UTC on 2 April, in summer too
    [
        pytest.param(datetime(2025, 4, 2, 8, 0, tzinfo=UTC), date(2025, 4, 1), id="just ended"),
        pytest.param(
            datetime(2025, 4, 2, 8, 0, tzinfo=UTC) - timedelta(microseconds=1),
            date(2025, 3, 31),
            id="about to end",
        ),
    ],
)
def test_a_day_ends_at_midnight_of_standard_time(now: datetime, ended: date) -> None:
    assert last_ended_day(now, -480) == ended
