"""What the maps of a block share, on screen and on paper."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import hypot

import numpy as np
from numpy.typing import NDArray

Point = tuple[float, float]


def find_runs(cells: NDArray[np.bool_]) -> Iterator[tuple[int, int, int]]:
    """Yield each run of cells: its row, its first place, the place after its last."""
    ends = np.diff(np.pad(cells.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    for row in np.flatnonzero(cells.any(axis=1)):
        starts, stops = (np.flatnonzero(ends[row] == way) for way in (1, -1))
        for first, last in zip(starts, stops, strict=True):
            yield int(row), int(first), int(last)


def find_ticks(count: int) -> Sequence[int]:
    """Return the places that are numbered: the first, and about every fifth or so after it."""
    step = next((one for one in (1, 2, 5, 10, 20, 50, 100) if count <= 9 * one), 500)
    return sorted({0, *range(step - 1, count, step)})


def place_dots(points: Sequence[Point], radius: float) -> list[Point]:
    """Return where dots of some radius go: at their points, or near where another would be hidden.

    Those that find no room within three of their sizes stay at their points.
    """
    apart = 1.9 * radius
    steps = [(i * apart, j * apart) for i in range(-3, 4) for j in range(-3, 4)]
    steps.sort(key=lambda step: (hypot(*step), step))
    placed: list[Point] = []
    for place, (x, y) in enumerate(points):
        later = points[place + 1 :]
        near = [(x + right, y + down) for right, down in steps]
        free = [
            one
            for one in near
            if _is_free(one, placed, apart) and (one == (x, y) or _is_free(one, later, apart))
        ]
        placed.append(free[0] if free else (x, y))
    return placed


def _is_free(point: Point, taken: Sequence[Point], apart: float) -> bool:
    return all(hypot(point[0] - x, point[1] - y) >= apart - 0.01 for x, y in taken)
