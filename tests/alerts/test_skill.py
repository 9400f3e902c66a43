"""Scores of hindcasts by lead, against numbers worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from alerts.hindcasts import Hindcasts, pool
from alerts.skill import covered, find_reliability, score_bands


def hindcasts(seasons: int = 4, crps_d: float = 1.0) -> Hindcasts:
    """Return outlooks 1, 7, 8 and 20 days before, and on, an opening on day 120 of each season."""
    lead_d = np.array([1.0, 7.0, 8.0, 20.0, 0.0])
    n = lead_d.size * seasons
    return Hindcasts(
        season=np.repeat(np.arange(seasons) + 2001, lead_d.size),
        lead_d=np.tile(lead_d, seasons),
        observed_d=np.full(n, 120.0),
        p10_d=np.tile([120.0, 121.0, 115.0, 110.0, 120.0], seasons),
        p50_d=np.tile([121.0, 123.0, 120.0, 114.0, 120.0], seasons),
        p90_d=np.tile([124.0, 130.0, 120.0, 119.0, 120.0], seasons),
        crps_d=np.full(n, crps_d),
        climatology_crps_d=np.full(n, 2.0),
        persistence_crps_d=np.full(n, 4.0),
        chance_14=np.tile([1.0, 0.9, 0.9, 0.4, 1.0], seasons),
    )


def test_each_outlook_counts_in_the_band_of_its_lead() -> None:
    assert [(band.lead_d, band.outlooks, band.seasons) for band in score_bands(hindcasts())] == [
        ((1, 7), 8, 4),
        ((8, 14), 4, 4),
        ((15, 30), 4, 4),
    ]


def test_errors_are_those_of_the_median_day() -> None:
    week = score_bands(hindcasts())[0]
    assert (week.mae_d, week.bias_d) == (2.0, 2.0)  # by hand: one and three days late
    early = score_bands(hindcasts())[2]
    assert (early.mae_d, early.bias_d) == (6.0, -6.0)  # by hand: six days early


def test_skill_is_the_share_by_which_the_score_is_smaller() -> None:
    week = score_bands(hindcasts(crps_d=0.5))[0]
    assert (week.over_climatology.value, week.over_persistence.value) == (0.75, 0.875)  # by hand


def test_no_skill_is_told_over_what_was_never_wrong() -> None:
    some = hindcasts()
    never = replace(some, persistence_crps_d=np.zeros(some.season.size))
    assert np.isnan(score_bands(never)[0].over_persistence.value)
    # by hand: once in a season of the four; a draw of the other three has nothing to compare with
    once = replace(never, persistence_crps_d=np.where(some.season == 2001, 4.0, 0.0))
    [week, *_] = score_bands(once)
    assert week.over_persistence.value == 0.0
    assert week.over_persistence.low is not None
    assert np.isfinite(week.over_persistence.low)


def test_an_interval_holds_its_ends() -> None:
    held = [band.coverage.value for band in score_bands(hindcasts())]
    assert held == [0.5, 1.0, 0.0]  # by hand
    assert covered(hindcasts()) == 0.6


def test_seasons_that_differ_make_an_interval_around_the_share() -> None:
    good, bad = hindcasts(4, 0.5), hindcasts(4, 3.0)
    bad = replace(bad, season=bad.season + 100)
    share = score_bands(pool([good, bad]))[0].over_climatology
    assert share.value == pytest.approx(1 - 1.75 / 2)  # by hand
    assert share.low is not None
    assert share.high is not None
    # by hand: of 8 draws the good ones are 4 +- 1.41: 1.96 of them are 0.43 of the skill
    assert (share.high - share.low) / 2 == pytest.approx(0.43, abs=0.08)


def test_two_seasons_make_no_interval() -> None:
    coverage = score_bands(hindcasts(seasons=2))[0].coverage
    assert (coverage.value, coverage.low, coverage.high) == (0.5, None, None)


def test_chances_are_laid_beside_what_happened() -> None:
    bins = [(one.chance, one.happened, one.outlooks) for one in find_reliability(hindcasts())]
    # by hand: 0.4 before 20 days; 0.9 before 7 and 8 days; 1 on the eve
    assert bins == [
        (pytest.approx(0.4), 0.0, 4),
        (pytest.approx(0.9), 1.0, 8),
        (pytest.approx(1.0), 1.0, 4),
    ]
