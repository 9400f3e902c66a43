"""Which vines to dig at a weak patch: strong ones at its border before weak ones inside it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, zip_longest
from math import ceil
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from alerts.dig.patches import Patch, Survey
from alerts.dig.records import Vine

Place = Literal["along", "across", "inside"]

BORDER_SHARE = 2 / 3
_BORDER_CELLS = 3  # how far from a patch a vine still borders it
_APART_CELLS = 3  # how far chosen vines of one side lie apart
_SIDES: tuple[tuple[Place, int, int], ...] = (
    ("along", 0, 1),
    ("across", 1, 0),
    ("along", 0, -1),
    ("across", -1, 0),
)

Cell = tuple[int, int]


@dataclass(frozen=True)
class DigVine:
    """A vine to dig, and why.

    place : "along": it borders the patch in a row of the patch; "across": in a row beside it;
        "inside"
    steps : how many vines or rows it lies from the patch; from its edge, where it is inside
    contrast : by which share it is stronger than its surroundings
    """

    vine: Vine
    patch: int
    place: Place
    steps: int
    contrast: float


def choose_vines(survey: Survey, patch: Patch, count: int) -> list[DigVine]:
    """Return the vines to dig at one patch, in their order.

    Two thirds border it and look as strong as what is around them, nearest first, from each side
    in turn; then weak ones inside, those nearest to its edge first, as roots deep inside may have
    died. Where too few of the one are there, more of the other are taken.

    References
    ----------
    [OSU-SAMPLING] for digging more than once; strong vines beside weak ones are common practice.
    """
    taken = np.any([one.cells for one in survey.patches], axis=0)
    sides = [_find_border(survey, patch, taken, *side) for side in _SIDES]
    in_turn = chain.from_iterable(zip_longest(*sides))
    border = list({one.vine: one for one in in_turn if one}.values())
    wanted = max(ceil(count * BORDER_SHARE), count - int(patch.cells.sum()))
    chosen = border[:wanted]
    inside = list(_find_inside(survey, patch, chosen))
    return chosen + inside[: count - len(chosen)]


def _find_border(
    survey: Survey,
    patch: Patch,
    taken: NDArray[np.bool_],
    place: Place,
    down: int,
    right: int,
) -> list[DigVine]:
    """Return strong vines on one side of a patch: nearest, then strongest first, none too close."""
    found: dict[Cell, int] = {}
    for i, j in np.argwhere(patch.cells):
        for steps in range(1, _BORDER_CELLS + 1):
            cell = int(i + steps * down), int(j + steps * right)
            lies_within = all(0 <= at < end for at, end in zip(cell, taken.shape, strict=True))
            if not lies_within or taken[cell]:
                break
            if survey.contrast[cell] >= 0.0:  # NaN, a missing vine, is not
                found[cell] = min(steps, found.get(cell, steps))
    ranked = sorted((steps, -float(survey.contrast[at]), at) for at, steps in found.items())
    return [
        DigVine(survey.vigour.name_vine(cell), patch.number, place, steps, -weakness)
        for steps, weakness, cell in _spread(ranked)
    ]


def _find_inside(survey: Survey, patch: Patch, chosen: Sequence[DigVine]) -> Iterator[DigVine]:
    """Yield the vines inside a patch: nearest to its edge, then least weak first."""
    beside = [survey.vigour.find_cell(one.vine) for one in chosen]
    depth = np.asarray(distance_transform_edt(np.pad(patch.cells, 1)))[1:-1, 1:-1]
    found = [
        (round(float(depth[i, j])), -float(survey.contrast[i, j]), (int(i), int(j)))
        for i, j in np.argwhere(patch.cells & np.isfinite(survey.contrast))
    ]
    for steps, weakness, cell in _spread(sorted(found), beside):
        yield DigVine(survey.vigour.name_vine(cell), patch.number, "inside", steps, -weakness)


def _spread(
    ranked: list[tuple[int, float, Cell]], beside: Sequence[Cell] = ()
) -> Iterator[tuple[int, float, Cell]]:
    """Yield what is ranked, those close to one before it, or beside it, only after all others."""
    late, cells = [], list(beside)
    for one in ranked:
        row, place = one[2]
        if any(max(abs(row - i), abs(place - j)) < _APART_CELLS for i, j in cells):
            late.append(one)
        else:
            cells.append(one[2])
            yield one
    yield from late
