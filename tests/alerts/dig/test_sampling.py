"""How many vines to dig: published tables, exact fractions and a plain draw by lot."""

from __future__ import annotations

from fractions import Fraction
from math import comb

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, hypergeom

from alerts.dig.sampling import Design, find_chance, find_vines_to_dig

VINES = (50, 100, 200, 500, 1000, 5000)
SHARES = (0.01, 0.02, 0.05, 0.10, 0.20)

# source: [FREEDOM-TABLE] confidence 95 %, sensitivity 1, infested = the rounded share
EXACT = [
    (48, 48, 39, 22, 12),
    (95, 78, 45, 25, 13),
    (155, 105, 51, 27, 13),
    (225, 129, 56, 28, 14),
    (258, 138, 57, 29, 14),
    (290, 147, 59, 29, 14),
]


def test_the_exact_table_of_detection_sampling_is_met() -> None:
    found = [tuple(find_vines_to_dig(Design(n, p, 1.0), 0.95) for p in SHARES) for n in VINES]
    assert found == EXACT


@pytest.mark.parametrize(
    ("vines", "sensitivity", "exact", "published"),
    [
        # source: [RSURVEILLANCE] published, by its approximation; the exact ones from
        # [FREEDOM-TABLE], at imperfect sensitivity by fractions: 375 misses at 0.050104
        (100, 1.0, 95, 95),
        (500, 1.0, 225, 226),
        (1000, 1.0, 258, 259),
        (5000, 1.0, 290, 291),
        (500, 0.6, 376, 376),
        (500, 0.8, 281, 282),
    ],
)
def test_a_published_example_is_met_within_the_one_vine_of_its_formula(
    vines: int, sensitivity: float, exact: int, published: int
) -> None:
    design = Design(vines, 0.01, sensitivity)
    found = find_vines_to_dig(design, 0.95)
    approximated = vines / sensitivity * (1 - 0.05 ** (1 / design.infested))
    assert found == exact
    assert np.ceil(approximated) == published


def test_99_percent_sure_takes_more() -> None:
    # source: [FREEDOM-TABLE] confidence 99 %, 5 %, of 100, 500 and 1000
    found = [find_vines_to_dig(Design(n, 0.05, 1.0), 0.99) for n in (100, 500, 1000)]
    assert found == [59, 83, 86]


def test_a_large_block_comes_to_the_binomial() -> None:
    # source: [FREEDOM-TABLE] n 20, sensitivity 0.6, share 0.05: 0.456206
    assert find_chance(Design(10**6, 0.05, 0.6), 20) == pytest.approx(0.456206, abs=2e-5)
    assert 1 - binom.pmf(0, 20, 0.05 * 0.6) == pytest.approx(0.456206, abs=5e-7)


def test_the_chance_to_miss_is_that_of_the_witness() -> None:
    # source: [FREEDOM-TABLE] N 100, D 5: P(miss) at 45 is 0.046206, at 44 it is 0.050736
    missed = [1 - find_chance(Design(100, 0.05, 1.0), n) for n in (45, 44)]
    assert missed == pytest.approx([0.046206, 0.050736], abs=5e-7)


def test_a_block_that_is_too_small_has_a_ceiling_below_what_is_wanted() -> None:
    # by hand: one infested vine of 40, and 0.8 to see it: 0.8 with all 40 dug
    design = Design(40, 0.02, 0.8)
    assert design.infested == 1
    assert design.ceiling == pytest.approx(0.8)
    assert find_vines_to_dig(design, 0.95) is None
    assert find_vines_to_dig(design, 0.8) == 40


def test_half_a_vine_is_rounded_down_as_it_asks_for_more_digs() -> None:
    assert [Design(n, 0.05, 1.0).infested for n in (50, 70, 51)] == [2, 3, 3]


@given(
    vines=st.integers(1, 60),
    infested=st.integers(1, 60),
    dug=st.integers(0, 60),
    tenths=st.integers(1, 10),
)
def test_the_chance_is_that_of_exact_fractions(
    vines: int, infested: int, dug: int, tenths: int
) -> None:
    infested, dug = min(infested, vines), min(dug, vines)
    seen = Fraction(tenths, 10)
    missed = sum(
        Fraction(comb(infested, k) * comb(vines - infested, dug - k), comb(vines, dug))
        * (1 - seen) ** k
        for k in range(max(0, dug - vines + infested), min(infested, dug) + 1)
    )
    found = find_chance(Design(vines, infested / vines, tenths / 10), dug)
    assert found == pytest.approx(float(1 - missed), abs=1e-10)


def test_drawing_by_lot_finds_as_often_as_is_said() -> None:
    rng = np.random.default_rng(8)
    design, dug = Design(400, 0.04, 0.7), 60
    hit = rng.hypergeometric(design.infested, 400 - design.infested, dug, 40_000)
    found = np.mean(rng.binomial(hit, 0.7) > 0)
    assert found == pytest.approx(find_chance(design, dug), abs=0.008)  # 4 standard errors


def test_clustering_changes_nothing_for_a_draw_by_lot_but_much_for_rows() -> None:
    # 16 infested vines in a row of 20; a draw by lot, and two whole rows of 20 drawn of 20
    rng = np.random.default_rng(9)
    infested = np.zeros((20, 20), bool)
    infested[7, :16] = True
    lots = [infested.flat[rng.choice(400, 40, replace=False)].any() for _ in range(4000)]
    rows = [infested[rng.choice(20, 2, replace=False)].any() for _ in range(4000)]
    said = find_chance(Design(400, 0.04, 1.0), 40)
    assert said == pytest.approx(1 - hypergeom.pmf(0, 400, 16, 40), abs=1e-12)
    assert np.mean(lots) == pytest.approx(said, abs=0.03)
    assert np.mean(rows) == pytest.approx(0.1, abs=0.02)  # by hand: 2 of 20 rows
