"""Hindcasts: all days of issue, nothing of the season that is scored in the fit, none dropped."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from alerts.hindcasts import Hindcasts, PastAir, find_past_seasons, hindcast, pool
from alerts.rules import GRAPE_PHYLLOXERA
from alerts.skill import BandScore, covered, score_bands
from alerts.windows import Kind, find_spans
from tests.benchmarks.bench_outlook_air import find_gain
from tests.generated_root_zone import generated_air, generated_days

DAYS, ROOT_ZONE_C = generated_days(seed=1, years=4)
SEASON_D = {1991: 0, 1992: 365, 1993: 731, 1994: 1096}  # by hand: 1992 has a leap day
IN_1991 = slice(SEASON_D[1991], SEASON_D[1992])


def opened_d(season: int, root_zone_c: NDArray[np.float64] = ROOT_ZONE_C) -> float:
    found = find_past_seasons(root_zone_c, DAYS, False, GRAPE_PHYLLOXERA, "spring")
    return next(one.opened_d for one in found if one.season == season)


def of_1991(root_zone_c: NDArray[np.float64], kind: Kind = "spring") -> Hindcasts:
    """Return the hindcasts of the first season, before any other is fitted."""
    hindcasts = hindcast(
        root_zone_c, DAYS, False, GRAPE_PHYLLOXERA, kind, "a", members=40, every_d=10
    )
    return next(one for one in hindcasts if one.season[0] == 1991)


@cache
def as_it_was() -> Hindcasts:
    return of_1991(ROOT_ZONE_C)


def test_each_season_that_opened_is_scored_from_its_first_day() -> None:
    (spans,) = find_spans(
        ROOT_ZONE_C[np.newaxis], DAYS, np.array([False]), GRAPE_PHYLLOXERA, DAYS[-1].item()
    )
    springs = {}
    for span in reversed(spans):
        if span.kind == "spring":
            springs[span.season] = (span.opened_on - span.opened_on.replace(month=1, day=1)).days
    assert {season: opened_d(season) for season in SEASON_D} == springs


@pytest.mark.parametrize(("hole_d", "seasons"), [(1, 4), (10, 3)])
def test_a_season_that_opened_in_a_hole_cannot_be_scored(hole_d: int, seasons: int) -> None:
    day = SEASON_D[1991] + int(opened_d(1991))
    holes_c = ROOT_ZONE_C.copy()
    holes_c[day - hole_d : day] = np.nan
    found = find_past_seasons(holes_c, DAYS, False, GRAPE_PHYLLOXERA, "spring")
    assert len(found) == seasons


def test_a_season_that_never_opened_is_scored_and_not_dropped() -> None:
    cool_c = ROOT_ZONE_C.copy()
    cool_c[IN_1991] -= 9.0
    found = find_past_seasons(cool_c, DAYS, False, GRAPE_PHYLLOXERA, "spring")
    assert [one.season for one in found if np.isinf(one.opened_d)] == [1991]
    hindcasts = of_1991(cool_c)
    assert set(hindcasts.observed_d) == {226.0}  # by hand: 15 August
    assert hindcasts.crps_d.min() >= 0
    assert hindcasts.crps_d[0] > 20  # d: a year that nobody expected


def test_a_season_that_never_opened_with_a_month_missing_is_not_known() -> None:
    cool_c = ROOT_ZONE_C - 9.0
    cool_c[SEASON_D[1993] + 150 : SEASON_D[1993] + 180] = np.nan
    found = find_past_seasons(cool_c, DAYS, False, GRAPE_PHYLLOXERA, "spring")
    assert [one.season for one in found] == [1991, 1992, 1994]


def test_outlooks_are_issued_from_60_days_before_to_30_days_after() -> None:
    assert as_it_was().lead_d.tolist() == list(range(60, -31, -10))


def test_once_it_has_opened_an_outlook_says_so() -> None:
    after = as_it_was().where(as_it_was().lead_d <= 0)
    assert after.p10_d.tolist() == after.p90_d.tolist() == after.observed_d.tolist()
    assert after.crps_d.tolist() == [0.0] * 4


def test_no_outlook_sees_what_comes_after_it() -> None:
    later_c = ROOT_ZONE_C.copy()
    later_c[SEASON_D[1991] + int(opened_d(1991)) + 31 : SEASON_D[1992]] += 3.0
    assert of_1991(later_c).p50_d.tolist() == as_it_was().p50_d.tolist()


def test_the_season_that_is_scored_is_not_in_the_fit_and_the_others_are() -> None:
    # thirty cold days long before the first outlook fade from its state, not from a fit
    own_c, other_c = ROOT_ZONE_C.copy(), ROOT_ZONE_C.copy()
    own_c[SEASON_D[1991] : SEASON_D[1991] + 3] += np.nan
    other_c[SEASON_D[1992] : SEASON_D[1993]] += 2.0
    base = as_it_was().climatology_crps_d.tolist()
    assert of_1991(own_c).climatology_crps_d.tolist() == base
    assert of_1991(other_c).climatology_crps_d.tolist() != base


def test_a_fall_is_scored_to_the_end_of_the_year() -> None:
    fall = of_1991(ROOT_ZONE_C, "fall")
    assert fall.observed_d[0] >= 226  # by hand: 15 August
    assert fall.crps_d[fall.lead_d > 0].min() > 0


def test_one_year_of_readings_cannot_be_scored() -> None:
    one_year = hindcast(ROOT_ZONE_C[:365], DAYS[:365], False, GRAPE_PHYLLOXERA, "spring", "a")
    assert list(one_year) == []


# --- the generated climate of known truth ------------------------------------------------------


def bands(hindcasts: Hindcasts) -> dict[tuple[int, int], BandScore]:
    return {band.lead_d: band for band in score_bands(hindcasts)}


def test_eight_generated_springs_are_foreseen_a_quarter_better_than_by_climatology() -> None:
    days, root_zone_c = generated_days(seed=1, years=8)
    found = hindcast(
        root_zone_c, days, False, GRAPE_PHYLLOXERA, "spring", "a", members=100, every_d=3
    )
    scores = bands(pool(list(found)))
    assert scores[1, 7].over_climatology.value >= 0.25
    assert scores[31, 60].over_persistence.value > 0


@cache
def ninety_springs() -> Hindcasts:
    """Return the hindcasts of three climates of thirty years, whose seasons are told apart."""
    parts: list[Hindcasts] = []
    for seed in (1, 2, 3):
        days, root_zone_c = generated_days(seed=seed, years=30)
        for one in hindcast(
            root_zone_c, days, False, GRAPE_PHYLLOXERA, "spring", "a", members=200, every_d=3
        ):
            parts.append(replace(one, season=one.season + 1000 * seed))
    return pool(parts)


@pytest.mark.long
def test_ninety_generated_springs_are_foreseen_a_quarter_better_in_the_last_week() -> None:
    assert bands(ninety_springs())[1, 7].over_climatology.value >= 0.25


@pytest.mark.long
@pytest.mark.parametrize("lead_d", [(8, 14), (15, 30), (31, 60)])
def test_ninety_generated_springs_are_foreseen_no_worse_before(lead_d: tuple[int, int]) -> None:
    assert bands(ninety_springs())[lead_d].over_climatology.value >= 0


@pytest.mark.long
def test_the_interval_of_eight_in_ten_holds_eight_in_ten_of_ninety_generated_springs() -> None:
    ahead = ninety_springs().where(ninety_springs().lead_d > 0)
    assert 0.75 <= covered(ahead) <= 0.85


def test_air_of_the_coming_week_makes_the_last_week_better_and_its_errors_take_from_that() -> None:
    air_c = generated_air(seed=1, years=4)
    plain, perfect, real = (
        pool(
            list(
                hindcast(ROOT_ZONE_C, DAYS, False, GRAPE_PHYLLOXERA, "spring", "a", 40, 2, air=air)
            )
        )
        for air in (None, PastAir(air_c, perfect=True), PastAir(air_c, perfect=False))
    )
    gains = [find_gain(one, plain, 1, 7).value for one in (perfect, real)]
    assert gains[0] > gains[1] > 0
    assert find_gain(perfect, plain, 31, 60).value == pytest.approx(0, abs=0.1)


def test_no_outlook_sees_air_of_more_than_a_week_ahead() -> None:
    air_c = generated_air(seed=1, years=4).copy()
    in_1991 = slice(SEASON_D[1991], SEASON_D[1992])

    def of_1991_with(air_c: NDArray[np.float64]) -> Hindcasts:
        found = hindcast(
            ROOT_ZONE_C, DAYS, False, GRAPE_PHYLLOXERA, "spring", "a", 20, 10,
            air=PastAir(air_c, perfect=True),
        )  # fmt: skip
        return next(one for one in found if one.season[0] == 1991)

    before = of_1991_with(air_c)
    first_d = int(before.observed_d[0]) - 60
    air_c[in_1991][first_d + 8 :] += 9  # the season is not in the fit
    after = of_1991_with(air_c)
    assert after.crps_d[0] == before.crps_d[0]
    assert after.crps_d[3] != before.crps_d[3]
