"""Growth against the published range, and the years until a share: recomputed by hand."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

import pytest

from alerts.dig.records import Vine
from alerts.dig.spread import (
    FARTHEST_REACH_M,
    FAST,
    PACES,
    SLOW,
    USUAL_REACH_M,
    Extent,
    Pace,
    find_extents,
    find_growth,
    find_years,
)
from alerts.dig.vigour import Planting
from tests.digs import SEEN, dig

PLANTING = Planting(row_m=3.0, vine_m=1.8)


def extent(day: date, vines: Iterable[Vine]) -> Extent:
    return Extent(day, frozenset(vines))


def first_vines(count: int) -> list[Vine]:
    return [(1, number) for number in range(1, count + 1)]


def test_the_published_range_is_the_published_one() -> None:
    # source: [KING-BUCHANAN] x1.2 to x3.8 a year; 15 to 27 m, up to 100 m
    assert (SLOW, FAST) == (1.2, 3.8)
    assert (USUAL_REACH_M, FARTHEST_REACH_M) == ((15.0, 27.0), 100.0)
    assert PACES["middle"] == pytest.approx(2.13542, abs=5e-6)  # by hand: sqrt(4.56)


@pytest.mark.parametrize(
    ("before", "after", "times", "pace"),
    [
        (40, 40, 1.0, Pace.SHRUNK),
        (40, 30, 0.866025, Pace.SHRUNK),
        (40, 48, 1.095445, Pace.SLOWER),
        (40, 160, 2.0, Pace.WITHIN),
        (10, 160, 4.0, Pace.FASTER),
    ],
)
def test_growth_over_two_years_is_its_root(
    before: int, after: int, times: float, pace: Pace
) -> None:
    # by hand: sqrt(after / before); 730 and 731 days are two years within 0.1 %
    days = date(2024, 2, 3), date(2026, 2, 3)
    (growth,) = find_growth(
        [extent(days[0], first_vines(before)), extent(days[1], first_vines(after))], PLANTING
    )
    assert growth.times_a_year == pytest.approx(times, rel=1e-3)
    assert growth.pace is pace


def test_the_reach_is_that_of_the_farthest_new_vine_by_year() -> None:
    # by hand: from row 1 vine 1 the nearest of the old; rows 3 m, vines 1.8 m apart: row 5, vine 6
    # is 12 m across and 9 m along, 15 m away; in two years 7.5 m a year
    old = extent(date(2024, 2, 3), [(1, 1)])
    new = extent(date(2026, 2, 3), [(1, 1), (1, 2), (5, 6)])
    (growth,) = find_growth([old, new], PLANTING)
    assert growth.reach_m == pytest.approx(7.5, rel=1e-3)
    assert find_growth([old, new], None)[0].reach_m is None


def test_nothing_is_said_of_a_year_over_a_few_weeks_or_from_nothing() -> None:
    weeks = find_growth(
        [extent(date(2026, 1, 3), first_vines(5)), extent(date(2026, 2, 3), first_vines(9))],
        PLANTING,
    )
    nothing = find_growth(
        [extent(date(2024, 2, 3), []), extent(date(2026, 2, 3), first_vines(9))], PLANTING
    )
    assert [one.pace for one in (*weeks, *nothing)] == [None, None]


def test_the_year_in_which_a_tenth_is_reached_by_hand() -> None:
    # by hand: 10 of 1000 vines are to become 100, ten times as many: ln 10 = 2.302585
    #   slow    2.302585 / ln 1.2 (0.182322) = 12.63 years from 3 February 2026 -> 2038
    #   middle  2.302585 / ln 2.135416 (0.758662) = 3.04                        -> 2029
    #   fast    2.302585 / ln 3.8 (1.335001) = 1.72                             -> 2027
    years = find_years(10, 1000, 0.1, date(2026, 2, 3))
    assert years == {"slow": 2038, "middle": 2029, "fast": 2027}


def test_a_share_that_is_reached_has_no_year_to_come() -> None:
    assert find_years(100, 1000, 0.1, date(2026, 2, 3)) is None
    assert find_years(99, 1000, 0.1, date(2026, 2, 3)) == dict.fromkeys(PACES, 2026)


def test_finds_add_up_season_by_season() -> None:
    records = [
        dig(date(2024, 10, 3), 1, **SEEN),
        dig(date(2025, 3, 3), 2, **SEEN),  # the same season in the south
        dig(date(2025, 10, 3), 1, **SEEN),  # known already
        dig(date(2026, 10, 3), 3, **SEEN),
        dig(date(2026, 10, 3), 4),  # nothing was seen there
    ]
    extents = find_extents(records, {(1, 1), (1, 2), (1, 3)}, True)
    assert [(one.day, len(one.vines)) for one in extents] == [
        (date(2025, 3, 3), 2),
        (date(2026, 10, 3), 3),
    ]
