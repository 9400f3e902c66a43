"""Finds per dig, with ranges as published."""

from __future__ import annotations

from datetime import date
from math import sqrt
from typing import Any

import pytest

from alerts.dig.by_window import PlacedDig, Rate, Side, find_difference, find_rates
from probes.units import f_to_c
from tests.digs import CONFIRMED, DEAD, SEEN, dig

DAY = date(2026, 5, 4)


def rate(finds: int, digs: int) -> Rate:
    return Rate("window", "inside", True, digs, finds, 0, 0)


def placed(
    vine: int,
    side: Side = Side.INSIDE,
    root_zone_f: float | None = 66.0,
    days_open: int | None = 3,
    **seen: Any,
) -> PlacedDig:
    seen = {"by_lot": True} | seen
    root_zone_c = None if root_zone_f is None else f_to_c(root_zone_f)
    return PlacedDig(dig(DAY, vine, **seen), side, root_zone_c, days_open)


@pytest.mark.parametrize(
    ("finds", "digs", "low", "high"),
    [
        (36, 40, 0.7695, 0.9604),
        (0, 12, 0.0, 0.2425),
        (3, 45, 0.0229, 0.1786),
        (10, 10, 0.7225, 1.0),
    ],
)
def test_the_range_is_that_of_wilson(finds: int, digs: int, low: float, high: float) -> None:
    # source: [STATSMODELS] proportion_confint(finds, digs, method="wilson")
    assert rate(finds, digs).range == pytest.approx((low, high), abs=5e-5)


def test_the_range_by_its_formula() -> None:
    # source: [WILSON-1927] (p + z2/2n -+ z sqrt(p (1 - p)/n + z2/4n2)) / (1 + z2/n), z 1.959964
    p, n, z = 3 / 45, 45, 1.959964
    half = z * sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    middle, scale = p + z * z / (2 * n), 1 + z * z / n
    expected = (middle - half) / scale, (middle + half) / scale
    assert rate(3, 45).range == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("one", "other", "low", "high"),
    [
        ((56, 70), (48, 80), 0.0524, 0.3339),
        ((9, 10), (3, 10), 0.1705, 0.8090),
        ((5, 56), (0, 29), -0.0381, 0.1926),
    ],
)
def test_the_difference_is_as_published(
    one: tuple[int, int], other: tuple[int, int], low: float, high: float
) -> None:
    # source: [NEWCOMBE-1998] table II, method 10, contrasts a, c and e; as [STATSMODELS] prints
    # them: confint_proportions_2indep(56, 70, 48, 80, method="newcomb")
    assert find_difference(rate(*one), rate(*other)) == pytest.approx((low, high), abs=5e-5)


def test_a_side_without_digs_has_no_difference_and_may_be_anything() -> None:
    assert find_difference(rate(3, 10), rate(0, 0)) is None
    assert (rate(0, 0).share, rate(0, 0).range) == (None, (0.0, 1.0))


def test_digs_are_counted_by_side_temperature_and_days_lots_apart() -> None:
    digs = [
        placed(1, **CONFIRMED),
        placed(2, **SEEN),
        placed(3, root_zone_f=64.0, days_open=7),
        placed(4, **DEAD),
        placed(5, Side.OUTSIDE, 59.9, None),
        placed(6, Side.NOT_KNOWN, None, None),
        placed(7, by_lot=False, **CONFIRMED),
    ]
    rates = {(one.by_lot, one.by, one.group): one for one in find_rates(digs)}
    inside = rates[True, "window", "inside"]
    assert (inside.digs, inside.finds, inside.suspected, inside.no_live_roots) == (3, 1, 1, 1)
    assert inside.share == pytest.approx(1 / 3)
    assert rates[True, "window", "outside"].digs == 1
    assert rates[True, "window", "not known"].digs == 1
    assert rates[True, "root zone", "64-70 °F"].digs == 3  # a limit itself lies above it
    assert rates[True, "root zone", "under 60 °F"].digs == 1
    assert rates[True, "days open", "0-6"].digs == 2
    assert rates[True, "days open", "7-13"].digs == 1
    assert rates[False, "window", "inside"].finds == 1
    assert sum(one.digs for one in find_rates(digs) if one.by == "window") == 6
