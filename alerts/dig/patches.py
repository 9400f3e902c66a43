"""Weak patches of a block: where they lie, how weak, how long, and what they have grown by."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from math import degrees

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, binary_fill_holes, convolve

from alerts.dig.clusters import find_gi_star, find_weak, near_cells
from alerts.dig.contrast import find_contrast, find_noise
from alerts.dig.records import Vine
from alerts.dig.vigour import Vigour

FALSE_DISCOVERIES = 0.05
LEAST_CELLS = 6
LEAST_LOSS = 0.1
_CLIP = 4.0  # standard deviations: one dead vine is no patch
_PULL = 0.5 * np.array([[0.7, 1.0, 0.7], [1.0, 0.0, 1.0], [0.7, 1.0, 0.7]])
"""How much neighbours count against what a cell itself says, in log odds."""
_MOST_PASSES = 12


@dataclass(frozen=True, eq=False)
class Patch:
    """A weak patch. Lengths in metres, by the ellipse of the same second moments,
    and a row or a vine at least.

    number : by score, from 1
    cells : shape of the vigour; missing vines within it too
    vines : all that stand in it, by row and number
    loss : by which share the middle one of its vines is weaker than the surroundings
    angle_deg : from the direction of the rows to its longer axis, 0 to 90
    chance : the least adjusted p of its cells
    grown_by : the share that it is larger than the earlier patches it covers; 1.0 where it is new;
        None where there is no earlier survey
    is_new : whether it covers no earlier patch, where there is an earlier survey
    """

    number: int
    cells: NDArray[np.bool_]
    vines: frozenset[Vine]
    loss: float
    length_m: float
    width_m: float
    angle_deg: float
    chance: float
    grown_by: float | None
    is_new: bool = False

    @property
    def along_rows(self) -> float:
        """How far it is lengthened along the rows: 0 where it is round or lies across, up to 1."""
        return (1.0 - self.width_m / self.length_m) * float(np.cos(np.radians(self.angle_deg)) ** 2)

    @property
    def score(self) -> float:
        """Its loss in percent, up to twice that by lengthening and up to twice by growth.

        Ours, no source.
        """
        growth = min(max(self.grown_by or 0.0, 0.0), 1.0)
        return 100.0 * self.loss * (1.0 + self.along_rows) * (1.0 + growth)


@dataclass(frozen=True, eq=False)
class Survey:
    """What was found in the vigour of a block: the contrast of each cell, the patches by score."""

    vigour: Vigour
    contrast: NDArray[np.float64]
    patches: list[Patch]


def survey_block(vigour: Vigour, earlier: Collection[frozenset[Vine]] | None = None) -> Survey:
    """Find the weak patches of a block.

    Twice: what was found in the first pass is no measure of what is usual in the second. A patch
    grows from cells with Gi* beyond chance to where its cells look more like what is around it, by
    their own contrast and that of their neighbours.

    Parameters
    ----------
    earlier : the vines of each patch of the survey before, where there is one

    References
    ----------
    [GETIS-ORD], [BENJAMINI-1995], [BESAG-1986] for the edge
    """
    near = near_cells(vigour.step_m)
    contrast, weak, chances = _find_cells(vigour, near, None)
    if weak.any():
        contrast, weak, chances = _find_cells(
            vigour, near, np.asarray(binary_dilation(weak), dtype=bool)
        )
    found = _describe(vigour, contrast, weak, chances, earlier)
    ranked = sorted(found, key=lambda one: -one.score)
    patches = [replace(one, number=number) for number, one in enumerate(ranked, 1)]
    return Survey(vigour, contrast, patches)


def _find_cells(
    vigour: Vigour, near: NDArray[np.float64], left_out: NDArray[np.bool_] | None
) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.float64]]:
    """Return the contrast, the cells of patches, and how surely each lies among weak ones."""
    contrast = find_contrast(vigour, left_out)
    noise = find_noise(contrast)
    weak = np.zeros(contrast.shape, bool)
    if not noise > 0:
        return contrast, weak, np.ones(contrast.shape)
    clipped = np.clip(contrast, -_CLIP * noise, _CLIP * noise)
    chances = find_weak(find_gi_star(clipped, near))
    seeds = label_regions(chances <= FALSE_DISCOVERIES)
    for number in range(1, seeds.max() + 1):
        weak |= _find_edge(contrast, seeds == number, near > 0, noise)
    return contrast, weak, chances


def _find_edge(
    contrast: NDArray[np.float64], seed: NDArray[np.bool_], near: NDArray[np.bool_], noise: float
) -> NDArray[np.bool_]:
    """Return the patch around a seed, by iterated conditional modes [BESAG-1986]."""
    reach = np.asarray(binary_dilation(seed, near, iterations=2), dtype=bool)
    known = np.isfinite(contrast)
    inside = seed
    for _ in range(_MOST_PASSES):
        if not (inside & known).any():
            break
        depth = np.median(contrast[inside & known])
        own = np.where(known, (contrast - depth / 2) * depth / noise**2, 0.0)
        pull = convolve(np.where(inside, 1.0, -1.0), _PULL, mode="nearest")
        labels = label_regions(reach & (own + pull > 0))
        renewed = np.isin(labels, np.setdiff1d(labels[seed], [0]))
        if (renewed == inside).all():
            break
        inside = renewed
    return np.asarray(binary_fill_holes(inside), dtype=bool)


def _describe(
    vigour: Vigour,
    contrast: NDArray[np.float64],
    weak: NDArray[np.bool_],
    chances: NDArray[np.float64],
    earlier: Collection[frozenset[Vine]] | None,
) -> list[Patch]:
    """Return the connected cells that are weak enough, and enough of them, as patches."""
    from skimage.measure import regionprops

    patches = []
    labels = label_regions(weak)
    across_m, along_m = vigour.step_m
    for region in regionprops(labels, spacing=vigour.step_m):
        cells = labels == region.label
        known = cells & np.isfinite(contrast)
        loss = -float(np.median(contrast[known])) if known.any() else 0.0
        if known.sum() < LEAST_CELLS or loss < LEAST_LOSS:
            continue
        vines = find_vines(vigour, cells)
        angle_deg = 90.0 - abs(degrees(region.orientation))
        patches.append(
            Patch(
                number=0,
                cells=cells,
                vines=vines,
                loss=loss,
                length_m=max(region.axis_major_length, *vigour.step_m),
                width_m=max(region.axis_minor_length, across_m if angle_deg < 45 else along_m),
                angle_deg=angle_deg,
                chance=float(chances[cells].min()),
                grown_by=None if earlier is None else _find_growth(vines, earlier),
                is_new=earlier is not None and not any(one & vines for one in earlier),
            )
        )
    return patches


def label_regions(cells: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return each cell with the number of its region, side by side or by a corner; 0 outside."""
    from skimage.measure import label

    return np.asarray(label(cells, connectivity=2))


def find_vines(vigour: Vigour, cells: NDArray[np.bool_]) -> frozenset[Vine]:
    """Return every vine that stands in some cells."""
    return frozenset(
        (
            vigour.first_row + int(i) * vigour.rows_each + row,
            vigour.first_vine + int(j) * vigour.vines_each + vine,
        )
        for i, j in np.argwhere(cells)
        for row in range(vigour.rows_each)
        for vine in range(vigour.vines_each)
    )


def _find_growth(vines: frozenset[Vine], earlier: Collection[frozenset[Vine]]) -> float:
    before = sum(len(one) for one in earlier if one & vines)
    return len(vines) / before - 1.0 if before else 1.0
