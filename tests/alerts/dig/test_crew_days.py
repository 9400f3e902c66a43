"""Crew days: as many vines as can be within their windows, then as early as can be."""

from __future__ import annotations

from datetime import date, datetime, timedelta, timezone
from itertools import permutations

import icalendar
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.calendar import write_feed
from alerts.dig.crew_days import Crews, Job, plan_crew_days
from alerts.dig.plan import find_dig_events
from tests.laws import law

FIRST = date(2025, 10, 6)


def day(number: int) -> date:
    return FIRST + timedelta(days=number)


def job(name: str, vines: int, first: int, last: int, expected: bool = False) -> Job:
    return Job(name, vines, day(first), day(last), expected)


DAYS = [day(number) for number in range(10)]


def test_a_block_that_closes_soon_is_dug_before_one_that_has_time() -> None:
    planned, left = plan_crew_days(
        [job("late", 60, 0, 9), job("soon", 60, 0, 1)], DAYS, Crews(1, 30)
    )
    assert [one.job.block_id for one in planned] == ["soon", "soon", "late", "late"]
    assert [one.day for one in planned] == DAYS[:4]
    assert left == {}


def test_vines_are_spread_over_the_days_a_block_takes() -> None:
    planned, _ = plan_crew_days([job("a", 59, 0, 9)], DAYS, Crews(1, 20))
    assert [one.vines for one in planned] == [20, 20, 19]


def test_a_crew_is_in_one_block_a_day_and_stays_in_it() -> None:
    jobs = [job("a", 90, 0, 9), job("b", 60, 0, 9)]
    planned, _ = plan_crew_days(jobs, DAYS, Crews(2, 30))
    assert len({(one.day, one.crew) for one in planned}) == len(planned) == 5
    assert max(one.crew for one in planned) == 2


def test_what_does_not_fit_is_told_and_no_window_is_overrun() -> None:
    planned, left = plan_crew_days([job("a", 90, 2, 3), job("b", 30, 2, 3)], DAYS, Crews(1, 30))
    assert sum(left.values()) == 60
    assert {one.day for one in planned} == {day(2), day(3)}


def test_nothing_to_dig_is_nothing_planned() -> None:
    assert plan_crew_days([], DAYS, Crews(1, 30)) == ([], {})


@law(40)
@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 2)), min_size=1, max_size=5))
def test_no_other_order_places_more_or_ends_sooner(windows: list[tuple[int, int]]) -> None:
    """Against every order of the blocks, each on the first day that is still free for it."""
    jobs = [job(f"b{i}", 10, first, first + more) for i, (first, more) in enumerate(windows)]
    planned, left = plan_crew_days(jobs, DAYS[:5], Crews(1, 10))
    best = (0, 0)
    for order in permutations(jobs):
        taken: set[date] = set()
        for one in order:
            free = [d for d in DAYS[:5] if one.first <= d <= one.last and d not in taken]
            taken |= set(free[:1])
        best = max(best, (len(taken), -sum((d - FIRST).days for d in taken)))
    assert len(left) == len(jobs) - best[0]
    assert sum((one.day - FIRST).days for one in planned) == -best[1]


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_calendar_is_read_by_another_program_and_moves_when_planned_anew(language: str) -> None:
    # source: [RFC-5545]: DTEND of an all-day event is the day after; a UID stays, SEQUENCE grows
    now = datetime(2025, 10, 5, 20, tzinfo=timezone(timedelta(hours=10)))
    places = {"a": ("Long Acre", "Stillmarrow")}
    events = []
    for later in (0, 1):
        planned, _ = plan_crew_days([job("a", 30, later, 9, True)], DAYS, Crews(1, 30))
        at = now + timedelta(hours=later)
        found = find_dig_events(planned, places, language, FIRST, at)
        calendar = icalendar.Calendar.from_ical(write_feed(found, "digs", at))
        events += calendar.walk("VEVENT")
    assert [one.decoded("DTSTART") for one in events] == [day(0), day(1)]
    assert [one.decoded("DTEND") for one in events] == [day(1), day(2)]
    assert events[0]["UID"] == events[1]["UID"]
    assert events[0]["SEQUENCE"] < events[1]["SEQUENCE"]
    assert events[0]["STATUS"] == "TENTATIVE"
    assert np.all(["Long Acre" in one["SUMMARY"] for one in events])
