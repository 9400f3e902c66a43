"""The middle, the trend and the difference of openings: by hand, and by other libraries."""

from __future__ import annotations

import json
import subprocess
from math import inf

import numpy as np
import pymannkendall
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import CensoredData, ecdf, ttest_rel

from alerts.study.estimates import (
    Middle,
    estimate_shares,
    find_difference,
    find_middle,
    find_trend,
)
from tests.laws import law
from tests.running_peers import PEERS, need_python


def test_the_middle_of_openings_known_to_the_day_is_their_median() -> None:
    opened = np.array([96.0, 99, 101, 104, 110])
    assert find_middle(opened - 1, opened) == Middle(101, 101, 101, 101, 5, 5)


def test_a_gap_widens_the_middle_and_a_season_not_reached_moves_it() -> None:
    after, by = np.array([95.0, 98, 100]), np.array([96.0, 109, 101])
    # by hand: the second season may share day 101 with the third, so half have opened by then
    # and whatever the gap hides: of 96, 99 and 101, or of 96, 101 and 109
    assert find_middle(after, by) == Middle(101, 101, 99, 101, 3, 3)
    # by hand: one of three opened, two never: half never do
    after, by = np.array([95.0, 334, 334]), np.array([96.0, inf, inf])
    assert find_middle(after, by) == Middle(335, inf, 335, inf, 3, 1)
    assert find_middle(np.array([]), np.array([])) is None


@law(30)
@given(st.lists(st.tuples(st.integers(1, 9), st.integers(0, 9)), min_size=1, max_size=12))
def test_the_shares_are_the_likeliest(drawn: list[tuple[int, int]]) -> None:
    # [GENTLEMAN-1994]: the shares are the likeliest ones where, for each stretch of days, the sum
    # over seasons of 1 / (chance of what was seen of it) is at most their number, and just that
    # where the stretch has a share
    first = np.array([float(one) for one, _ in drawn])
    last = np.array([inf if more == 9 else float(one + more) for one, more in drawn])
    begins, ends, share = estimate_shares(first, last)
    may = (first[:, None] <= begins) & (ends <= last[:, None])
    weight = (may / (may @ share)[:, None]).sum(axis=0)
    assert share.sum() == pytest.approx(1)
    assert (weight <= len(drawn) * (1 + 1e-3)).all()
    assert weight[share > 1e-3] == pytest.approx(len(drawn), rel=1e-3)


def test_the_shares_are_those_of_another_library() -> None:
    rng = np.random.default_rng(11)
    cases: list[tuple[np.ndarray, np.ndarray]] = []
    for seasons in rng.integers(5, 25, 10):
        first = rng.integers(90, 120, seasons).astype(float)
        cases.append((first, first + rng.choice([0, 0, 0, 1, 5, 20, inf], seasons)))
    asked = [  # half a day earlier, as whoever opened on a day did so within it
        [[a - 0.5, None if b == inf else b] for a, b in zip(*case, strict=True)] for case in cases
    ]
    answer = subprocess.run(  # noqa: S603 (our own arguments)
        [need_python(), PEERS / "turnbull.py"],
        input=json.dumps(asked),
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    for case, curve in zip(cases, json.loads(answer.stdout), strict=True):
        _, ends, share = estimate_shares(*case)
        days = np.isfinite(ends)
        left = [dict(curve)[day] for day in ends[days]]
        # shares: that one stops a little before the likeliest
        assert left == pytest.approx(1 - share.cumsum()[days], abs=2e-3)


def test_where_seasons_only_end_too_early_the_shares_are_those_of_kaplan_and_meier() -> None:
    opened = np.array([96.0, 99, 99, 104, 107, 120])
    seen_to = np.array([97.0, 103, 110])
    curve = ecdf(CensoredData(uncensored=opened, right=seen_to)).sf
    _, ends, share = estimate_shares(
        np.concatenate([opened, seen_to + 1]), np.concatenate([opened, np.full(3, inf)])
    )
    days = np.isfinite(ends)
    assert 1 - share.cumsum()[days] == pytest.approx(curve.evaluate(ends[days]), abs=1e-6)


def test_a_trend_is_that_of_another_library() -> None:
    rng = np.random.default_rng(5)
    season = np.arange(2001.0, 2021.0)
    opened = np.round(100 - 0.4 * (season - 2001) + rng.normal(0, 4, season.size))
    found = find_trend(season, opened, 3)
    other = pymannkendall.original_test(opened)
    assert found is not None
    assert found.slope == pytest.approx(10 * other.slope)
    assert found.p == pytest.approx(other.p, abs=0.02)  # that one corrects for continuity
    assert found.low < found.slope < found.high
    assert (found.seasons, found.left_out) == (20, 3)


def test_four_seasons_make_no_trend_and_one_day_of_all_is_none() -> None:
    assert find_trend(np.arange(4.0), np.arange(4.0)) is None
    flat = find_trend(np.arange(6.0), np.full(6, 100.0))
    assert flat is not None
    assert (flat.slope, flat.p) == (0.0, 1.0)


def test_a_difference_is_that_of_pairs() -> None:
    early, late = np.array([96.0, 99, 101, 104]), np.array([99.0, 105, 103, 111])
    found = find_difference((early - 1, late - 1), (early, late), 6)
    test = ttest_rel(late, early).confidence_interval(0.95)
    assert found is not None
    assert found.mean == 4.5  # by hand: 3, 6, 2, 7
    assert (found.low, found.high) == pytest.approx((test.low, test.high))
    assert (found.least, found.most) == (4.5, 4.5)
    assert (found.seasons, found.hidden, found.left_out) == (4, 0, 2)


def test_gaps_widen_a_difference_and_have_no_part_in_its_mean() -> None:
    after = np.array([90.0, 95, 99]), np.array([98.0, 98, 101])
    by = np.array([96.0, 96, 100]), np.array([105.0, 99, 102])
    found = find_difference(after, by, 3)
    assert found is not None
    # by hand: 3 and 2 to the day; the first is from 99 - 96 to 105 - 91
    assert (found.mean, found.least, found.most) == (2.5, 8 / 3, 19 / 3)
    assert (found.seasons, found.hidden) == (2, 1)


def test_one_season_has_no_interval_and_one_that_is_hidden_no_mean() -> None:
    found = find_difference(
        (np.array([95.0]), np.array([98.0])), (np.array([96.0]), np.array([99.0])), 1
    )
    assert found is not None
    assert (found.mean, found.low, found.high, found.seasons) == (3, None, None, 1)
    found = find_difference(
        (np.array([90.0]), np.array([90.0])), (np.array([96.0]), np.array([96.0])), 1
    )
    assert found is not None
    # by hand: the last day of one gap, and all of it
    assert (found.mean, found.least, found.most, found.seasons) == (None, -5, 5, 0)
    nothing = np.array([])
    assert find_difference((nothing, nothing), (nothing, nothing), 4) is None
