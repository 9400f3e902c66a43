"""Where dots go on the map of a block."""

from __future__ import annotations

from itertools import combinations
from math import hypot

import pytest

from alerts.dig.map_parts import Point, place_dots


def least_apart(points: list[Point]) -> float:
    return min(hypot(a[0] - b[0], a[1] - b[1]) for a, b in combinations(points, 2))


def test_dots_with_room_stay_where_their_vines_are() -> None:
    points = [(0.0, 0.0), (20.0, 0.0), (0.0, 14.0)]
    assert place_dots(points, 7.0) == points


@pytest.mark.parametrize(
    "points",
    [
        [(0.0, 0.0), (5.0, 0.0)],
        [(0.0, 0.0)] * 3,
        [(float(x), float(y)) for x in range(0, 40, 8) for y in range(0, 32, 8)],
    ],
    ids=["two", "one place", "a crowd"],
)
def test_no_dot_hides_the_number_of_another(points: list[Point]) -> None:
    placed = place_dots(points, 7.0)
    assert len(placed) == len(points)
    assert least_apart(placed) >= 7.0 * 1.8
