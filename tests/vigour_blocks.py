"""Invented blocks with planted weak patches: the vigour of every vine, and which are weak."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from alerts.dig.vigour import Planting, Vigour

PLANTING = Planting(row_m=3.0, vine_m=1.8)
LEAST_VINES = 12


def plant_vigour(
    seed: int,
    *,
    patches: int = 1,
    loss: float = 0.25,
    noise: float = 0.12,
    shape: tuple[int, int] = (40, 60),
) -> tuple[Vigour, NDArray[np.bool_]]:
    """Return a block of 3.0 by 1.8 m and the cells of its patches.

    From vine to vine it varies by `noise`; besides from end to end of the block by 15 % either
    way, over some 25 m by 4 %, from row to row by 2 %; one vine in 50 is missing. A patch is an
    ellipse of 12 vines or more, at most 2.2 times as long along the rows as wide, of `loss` less.
    All numbers are ours, no source.
    """
    rng = np.random.default_rng(seed)
    step = np.array([PLANTING.row_m, PLANTING.vine_m])
    across_m, along_m = np.indices(shape) * step.reshape(2, 1, 1)
    angle = rng.uniform(0, 2 * np.pi)
    slope = along_m * np.cos(angle) + across_m * np.sin(angle)
    slope = (slope - slope.mean()) / (np.ptp(slope) / 2)
    hills = gaussian_filter(rng.normal(size=shape), 25 / step, mode="reflect")
    rows = 1 + 0.02 * rng.normal(size=(shape[0], 1))
    value = (1 + 0.15 * slope) * (1 + 0.04 * hills / hills.std()) * rows
    value *= np.exp(noise * rng.normal(size=shape))
    planted = np.zeros(shape, bool)
    for _ in range(patches):
        planted |= _draw_patch(rng, across_m, along_m)
    value[planted] *= 1 - loss
    missing = rng.uniform(size=shape) < 0.02
    value[missing] = np.nan
    return Vigour(value, PLANTING, 1, 1), planted & ~missing


def _draw_patch(
    rng: np.random.Generator, across_m: NDArray[np.float64], along_m: NDArray[np.float64]
) -> NDArray[np.bool_]:
    while True:
        middle_m = rng.uniform(0.05, 0.95) * across_m.max(), rng.uniform(0.05, 0.95) * along_m.max()
        half_m, longer = rng.uniform(4, 11), np.sqrt(rng.uniform(1.0, 2.2))
        away = ((along_m - middle_m[1]) / (half_m * longer)) ** 2
        patch = away + ((across_m - middle_m[0]) / (half_m / longer)) ** 2 <= 1
        if patch.sum() >= LEAST_VINES:
            return patch


def threshold_plainly(vigour: Vigour) -> NDArray[np.bool_]:
    """Return the vines more than a standard deviation below the mean: what all else must beat."""
    return vigour.value < np.nanmean(vigour.value) - np.nanstd(vigour.value)


def write_vigour(vigour: Vigour, measure: str = "ndvi") -> str:
    """Return a block as the CSV that `digseason patches` reads, as leaf cover from 0 to 1."""
    lines = [f"row,vine,{measure}"]
    for cell, value in np.ndenumerate(vigour.value):
        row, vine = vigour.name_vine((cell[0], cell[1]))
        lines.append(f"{row},{vine},{'' if np.isnan(value) else f'{0.5 * value:.3f}'}")
    return "\n".join(lines) + "\n"


def table_of(vines: slice) -> str:
    """Return the CSV of a block of 20 by 30 whose rows 7 to 10 are weak."""
    value = 2 + 0.04 * np.random.default_rng(3).normal(size=(20, 30))
    value[6:10, vines] *= 0.6
    return write_vigour(Vigour(value, PLANTING, 1, 1))
