"""Gi* and false discoveries, against their formulas and the reference library."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import norm

from alerts.dig.clusters import find_gi_star, find_weak, near_cells


def plain_gi_star(value: NDArray[np.float64], reach_m: float, step_m: tuple[float, float]):
    """Gi* cell by cell, as [GETIS-ORD] writes it."""
    places = np.argwhere(np.isfinite(value)) * np.array(step_m)
    x = value[np.isfinite(value)]
    n = x.size
    s = np.sqrt((x**2).sum() / n - x.mean() ** 2)
    w = (np.linalg.norm(places[:, None] - places[None], axis=2) <= reach_m).astype(float)
    total, squares = w.sum(1), (w**2).sum(1)
    return (w @ x - x.mean() * total) / (s * np.sqrt((n * squares - total**2) / (n - 1)))


@pytest.fixture
def strewn() -> NDArray[np.float64]:
    value = np.random.default_rng(4).normal(10, 2, (9, 12))
    value[3:6, 4:8] -= 3
    value[2, 2] = np.nan
    return value


def test_vines_are_near_by_metres_and_not_by_number() -> None:
    # by hand: within 4.5 m of 3.0 by 1.8: two vines either way in the row, one in the next rows
    expected = [[0, 1, 1, 1, 0], [1, 1, 1, 1, 1], [0, 1, 1, 1, 0]]
    assert near_cells((3.0, 1.8)).tolist() == expected


def test_gi_star_is_that_of_its_formula(strewn: NDArray[np.float64]) -> None:
    found = find_gi_star(strewn, near_cells((3.0, 1.8)))
    assert found[np.isfinite(strewn)] == pytest.approx(plain_gi_star(strewn, 4.5, (3.0, 1.8)))
    assert np.isnan(found[2, 2])


@pytest.mark.long  # esda takes three seconds to import
def test_gi_star_is_that_of_the_reference_library(strewn: NDArray[np.float64]) -> None:
    from esda import fdr
    from esda.getisord import G_Local
    from libpysal.weights import DistanceBand, fill_diagonal

    known = np.isfinite(strewn)
    places = np.argwhere(known) * np.array([3.0, 1.8])
    near = fill_diagonal(DistanceBand(places, 4.5, binary=True, silence_warnings=True), 1.0)
    # source: esda 2.9, G_Local with star
    reference = G_Local(strewn[known], near, transform="B", star=True, permutations=0)
    found = find_gi_star(strewn, near_cells((3.0, 1.8)))[known]
    assert found == pytest.approx(reference.Zs, rel=1e-9)
    # source: esda 2.9, fdr: the p up to which false discoveries are held
    p = norm.cdf(found)
    kept = find_weak(found) <= 0.05
    assert kept.any()
    assert (kept == (p <= fdr(p, 0.05))).all()


def test_false_discoveries_are_held_as_published() -> None:
    # source: [BENJAMINI-1995] section 3: of 15 p-values the first four are kept at 0.05
    p = [
        *(0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344),
        *(0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 0.9999),
    ]
    adjusted = find_weak(norm.ppf(np.array([p])))
    assert (adjusted <= 0.05).sum() == 4
    # by hand: p times 15 over its rank
    assert adjusted[0, :4] == pytest.approx([0.0015, 0.003, 0.0095, 0.035625])


def test_where_nothing_differs_nothing_is_weak() -> None:
    flat = find_gi_star(np.ones((5, 5)), near_cells((3.0, 1.8)))
    assert (find_weak(flat) == 1.0).all()
