"""Outlooks of a season: dates of a known curve in closed form, nowcasts, cool sites, laws."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.outlook.anomalies import yearly_terms
from alerts.outlook.courses import Lent
from alerts.outlook.curves import WAVES, Curves
from alerts.outlook.dates import Outlook, find_outlooks, likely_days
from alerts.outlook.members import member_rng
from alerts.rules import GRAPE_PHYLLOXERA
from tests.laws import law
from tests.outlook_curves import DEPTH_M, days_of, sure_curve
from tests.reference_curve import mean_c

INF = float("inf")
DAYS = days_of("2024-12-20", "2025-12-31")
WEATHER = sure_curve(spread_c=1.2)


def outlook(
    as_of: str, curve: Curves, last_day: str | None = None, south: bool = False, **options: Any
) -> Outlook:
    """Return the outlook of a block that has followed its curve to `last_day`."""
    error_c = options.pop("error_c", 0.0)
    days = days_of("2024-06-20", "2025-12-31")
    on_curve_c = yearly_terms(days, WAVES) @ curve.terms_c[0]
    day_c = np.where(days <= np.datetime64(last_day or as_of), on_curve_c, np.nan)
    issued_on = date.fromisoformat(as_of)
    (one,) = find_outlooks(
        day_c[np.newaxis],
        days,
        curve,
        south,
        GRAPE_PHYLLOXERA,
        issued_on,
        [member_rng("terrace-7", issued_on)],
        lent=Lent(np.full((1, days.size), np.nan), np.array([error_c])),
        **options,
    )
    return one


def crossing(limit_c: float, first: date, last: date) -> date:
    """Return the first day of a time whose five-day mean of [REFERENCE-R] is over a limit."""
    days = [first + timedelta(days=ahead) for ahead in range((last - first).days + 1)]
    ends = np.array([(day - date(2025, 1, 1)).days + 1.0 for day in days])
    return days[int(np.argmax(mean_c(DEPTH_M, ends, 5) >= limit_c))]


def test_a_sure_curve_opens_on_the_day_that_the_closed_form_has() -> None:
    # source: [REFERENCE-R], five-day means in closed form; noons for days move it by an hour or so
    expected = crossing(GRAPE_PHYLLOXERA.spring_opens_c, date(2025, 4, 1), date(2025, 7, 1))
    opens = outlook("2025-03-01", sure_curve()).opens
    assert opens
    days_off = [(day - expected).days for day in (opens.p10, opens.p50, opens.p90) if day]
    assert [abs(off) <= 1 for off in days_off] == [True] * 3
    assert opens.chance == 1.0


def test_spring_closes_42_days_after_the_opening_of_each_member() -> None:
    one = outlook("2025-03-01", sure_curve())
    assert one.opens
    assert one.opens.p50
    assert one.closes.p50 == one.opens.p50 + timedelta(days=42)  # common practice, no source


def test_the_weather_to_come_spreads_the_dates_around_those_of_the_curve() -> None:
    sure, weather = (outlook("2025-03-01", one).opens for one in (sure_curve(), WEATHER))
    assert sure
    assert sure.p50
    assert weather
    assert weather.p10
    assert weather.p90
    assert weather.p10 < sure.p50 < weather.p90
    assert 10 <= (weather.p90 - weather.p10).days <= 25


def test_the_chance_of_two_weeks_grows_as_the_day_comes_near() -> None:
    found = [
        one.opens.within_14_d
        for day in ("2025-04-20", "2025-05-10", "2025-05-20")
        if (one := outlook(day, WEATHER)).opens
    ]
    assert found[0] < 0.1 < found[1] < 0.9 < found[2]


def test_while_a_window_is_open_only_its_close_is_awaited() -> None:
    one = outlook("2025-06-10", sure_curve())
    opened_on = outlook("2025-03-01", sure_curve()).opens
    assert opened_on
    assert opened_on.p50
    assert one.opens is None
    assert one.open_now == 1.0
    assert one.closes.p10 == one.closes.p90 == opened_on.p50 + timedelta(days=42)


def test_after_spring_the_fall_opening_is_awaited() -> None:
    one = outlook("2025-08-01", WEATHER)
    assert one.kind == "fall"
    assert one.opens
    assert one.opens.p10
    assert one.opens.p10 >= date(2025, 8, 15)  # common practice, no source


def test_once_fall_has_closed_the_next_spring_is_awaited() -> None:
    # source: [REFERENCE-R], which comes round each year: as far ahead as in spring itself
    next_one, in_march = outlook("2025-12-20", sure_curve()), outlook("2025-03-01", sure_curve())
    assert (next_one.season, next_one.kind) == (2026, "spring")
    assert next_one.opens
    assert next_one.opens.p50
    assert in_march.opens
    assert in_march.opens.p50
    year = timedelta(days=365)
    assert abs(next_one.opens.p50 - in_march.opens.p50 - year) <= timedelta(days=1)
    assert next_one.closes.p50 == next_one.opens.p50 + timedelta(days=42)
    assert next_one.open_chances == (0.0, 0.0)  # by hand: of 20 and 27 December


def test_the_next_spring_is_known_no_better_in_december_than_in_march() -> None:
    widths = []
    for as_of in ("2025-12-20", "2025-03-01"):
        opens = outlook(as_of, WEATHER).opens
        assert opens
        assert opens.p10
        assert opens.p90
        widths.append((opens.p90 - opens.p10).days)
    assert widths[0] >= widths[1] - 2  # days; fewer members


@pytest.mark.parametrize(
    ("as_of", "kind"),  # the curve opens at the end of May, for 42 days
    [("2025-07-12", "spring"), ("2025-07-25", "fall")],
)
def test_a_nowcast_goes_on_a_week_after_a_window_has_closed_unseen(as_of: str, kind: str) -> None:
    one = outlook(as_of, sure_curve(), "2025-04-01")
    assert one.kind == kind
    if kind == "fall":
        assert one.opens
        assert one.opens.by_now == 0.0
        assert one.opens.chance == 1.0
    else:
        assert one.closes.by_now == 1.0


def test_late_readings_make_a_nowcast_of_what_has_probably_opened() -> None:
    one = outlook("2025-06-10", WEATHER, last_day="2025-05-05")
    assert one.last_day == date(2025, 5, 5)
    assert one.opens
    assert one.opens.by_now > 0.9
    assert one.open_now > 0.9
    assert one.opens.p50
    assert abs((one.opens.p50 - date(2025, 5, 25)).days) <= 10


def test_a_season_without_a_reading_has_the_outlook_of_its_curve() -> None:
    one = outlook("2025-05-01", WEATHER, last_day="2024-11-30")
    assert one.last_day is None
    assert one.opens
    assert one.opens.chance > 0.95


def test_a_cool_site_names_its_warmest_weeks() -> None:
    one = outlook("2025-03-01", sure_curve(lower_c=6.5))
    cold_c = GRAPE_PHYLLOXERA.cold_below_c + 6.5
    first = crossing(cold_c, date(2025, 4, 1), date(2025, 8, 31))
    assert one.opens
    assert one.opens.chance < 0.1
    assert one.warm_weeks
    assert one.warm_weeks.first
    assert one.warm_weeks.last
    assert abs((one.warm_weeks.first - first).days) <= 1
    assert one.warm_weeks.first < one.warm_weeks.peak_on < one.warm_weeks.last
    # by hand: mean 13.5 plus 11.5 exp(-0.3 / 2.240) less 6.5
    assert one.warm_weeks.peak_c == pytest.approx(7.0 + 10.06, abs=0.05)  # degC


def test_a_warm_site_whose_spring_was_not_seen_is_no_cool_site() -> None:
    days = days_of("2025-07-10", "2025-12-31")
    day_c = yearly_terms(days, WAVES) @ sure_curve(lower_c=-4).terms_c[0]
    issued_on = date(2025, 7, 25)
    (one,) = find_outlooks(
        np.where(days <= np.datetime64(issued_on), day_c, np.nan)[np.newaxis],
        days,
        sure_curve(lower_c=-4),
        False,
        GRAPE_PHYLLOXERA,
        issued_on,
        [member_rng("terrace-7", issued_on)],
    )
    # by hand: at 13.5 + 10.06 + 4 degC in July it is too warm for a spring whose start was not seen
    assert (one.kind, one.opens and one.opens.chance) == ("fall", 1.0)
    assert one.warm_weeks is None


def test_a_site_that_stays_below_60_has_a_warmest_day_only() -> None:
    one = outlook("2025-03-01", sure_curve(lower_c=9.0)).warm_weeks
    assert one
    assert one.first is None
    assert one.last is None
    assert one.peak_c < GRAPE_PHYLLOXERA.cold_below_c


def test_warm_weeks_are_named_only_where_they_are_all_there_is() -> None:
    assert outlook("2025-03-01", sure_curve()).warm_weeks is None


def test_once_the_warm_time_is_over_the_next_ones_weeks_are_named() -> None:
    one = outlook("2025-11-01", sure_curve(lower_c=6.5)).warm_weeks
    assert one
    assert one.peak_on.year == 2026


def test_south_of_the_equator_the_same_curve_opens_half_a_year_on() -> None:
    north = outlook("2025-03-01", sure_curve()).opens
    one = outlook("2025-09-01", sure_curve(south=True), south=True)
    assert one.season == 2025
    assert one.opens
    assert one.opens.p50
    assert north
    assert north.p50
    assert abs((one.opens.p50 - north.p50).days - 182.5) <= 1.5


def test_a_blocks_outlook_does_not_depend_on_which_others_are_asked_for() -> None:
    curve_c = yearly_terms(DAYS, WAVES) @ WEATHER.terms_c[0]
    day_c = np.where(np.datetime64("2025-04-20") >= DAYS, curve_c, np.nan)
    both_c = np.array([day_c, day_c - 1.0])
    issued_on = date(2025, 4, 20)

    def find(rows: list[int]) -> list[Outlook]:
        return find_outlooks(
            both_c[rows],
            DAYS,
            WEATHER.take(np.zeros(len(rows), np.intp)),
            False,
            GRAPE_PHYLLOXERA,
            issued_on,
            [member_rng(f"block-{row}", issued_on) for row in rows],
            members=40,
        )

    first, second = find([0, 1])
    assert [first, second] == [*find([0]), *find([1])]
    assert [second, first] == find([1, 0])


def test_later_days_are_ignored() -> None:
    later_c = yearly_terms(DAYS, WAVES) @ WEATHER.terms_c[0]
    seen_c = np.where(np.datetime64("2025-04-20") >= DAYS, later_c, np.nan)
    found = [
        find_outlooks(
            day_c[np.newaxis],
            DAYS,
            WEATHER,
            False,
            GRAPE_PHYLLOXERA,
            date(2025, 4, 20),
            [member_rng("a", date(2025, 4, 20))],
            members=40,
        )
        for day_c in (later_c, seen_c)
    ]
    assert found[0] == found[1]


@law(15)
@given(
    ahead=st.integers(0, 364),
    behind=st.integers(0, 90),
    lower_c=st.floats(-6, 9),
    south=st.booleans(),
)
def test_chances_only_grow_with_time_and_dates_are_in_order(
    ahead: int, behind: int, lower_c: float, south: bool
) -> None:
    as_of = date(2025, 1, 1) + timedelta(days=ahead)
    curve = sure_curve(lower_c, south, spread_c=1.2)
    last_day = (as_of - timedelta(days=behind)).isoformat()
    one = outlook(as_of.isoformat(), curve, last_day=last_day, south=south, members=40)
    chances = [found for found in (one.opens, one.closes) if found]
    assert [(c.by_now <= c.within_7_d <= c.within_14_d <= c.chance) for c in chances] == [
        True
    ] * len(chances)
    ordered = [[day or date.max for day in (c.p10, c.p50, c.p90)] for c in chances]
    assert ordered == [sorted(days) for days in ordered]
    assert 0 <= one.open_now <= 1


@pytest.mark.parametrize(
    ("members_d", "expected"),
    [  # by hand: the share outside each end nearest to a tenth, the lower of two middles
        pytest.param(range(1, 11), (2, 5, 9), id="ten days"),
        pytest.param([5] * 10, (5, 5, 5), id="one day"),
        pytest.param([1] * 11 + [2] * 9, (1, 1, 2), id="two days"),
        pytest.param([3] * 2 + [4] * 17 + [9], (4, 4, 4), id="few outside"),
        pytest.param([1] * 7 + [INF] * 3, (1, 1, INF), id="three of ten never"),
        pytest.param([INF] * 10, (INF, INF, INF), id="never"),
    ],
)
def test_likely_days_leave_a_tenth_outside_each_end(members_d, expected) -> None:
    assert likely_days(np.array(list(members_d), float)) == expected


def test_days_that_are_borrowed_spread_the_dates_by_their_error() -> None:
    opens, unsure = (outlook("2025-04-20", sure_curve(), error_c=c).opens for c in (0.0, 1.0))
    assert opens
    assert opens.p50
    assert unsure
    assert unsure.p10
    assert unsure.p90
    limit_c = GRAPE_PHYLLOXERA.spring_opens_c
    # by hand: four in five errors lie within 1.28, and the curve takes so many days for as much
    first, last = (
        crossing(limit_c + shift_c, date(2025, 4, 1), date(2025, 7, 1)) for shift_c in (-1.28, 1.28)
    )
    assert abs((unsure.p10 - first).days) <= 2
    assert abs((unsure.p90 - last).days) <= 2


def test_the_chance_of_being_open_is_given_for_each_week_to_the_seasons_end() -> None:
    one = outlook("2025-04-20", sure_curve())
    weeks = [date(2025, 4, 20) + timedelta(days=7 * ahead) for ahead in range(37)]
    assert weeks[-1] == date(2025, 12, 28)  # by hand: 36 weeks on, the last one of the year
    assert one.opens
    assert one.opens.p50
    assert one.closes.p50
    is_open = [one.opens.p50 <= week < one.closes.p50 for week in weeks if week < one.closes.p50]
    assert [chance > 0.5 for chance in one.open_chances[: len(is_open)]] == is_open
    assert len(one.open_chances) == len(weeks)
