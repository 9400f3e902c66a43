"""Which cells lie among weak ones beyond chance: Getis and Ord's Gi*, false discoveries held."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import convolve
from scipy.stats import false_discovery_control, norm

NEAR_STEPS = 1.5
"""Cells count as near within so many steps of the wider of the two spacings."""


def near_cells(step_m: tuple[float, float]) -> NDArray[np.float64]:
    """Return the cells near one, itself among them, as ones around the middle."""
    reach_m = NEAR_STEPS * max(step_m)
    reach = [int(reach_m / step) for step in step_m]
    i, j = np.ogrid[-reach[0] : reach[0] + 1, -reach[1] : reach[1] + 1]
    return ((i * step_m[0]) ** 2 + (j * step_m[1]) ** 2 <= reach_m**2 + 1e-9).astype(float)


def find_gi_star(value: NDArray[np.float64], near: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return Gi* of each cell, standard normal where values are strewn at random.

    NaN cells weigh nothing and have none.

    References
    ----------
    [GETIS-ORD]
    """
    known = np.isfinite(value)
    n, mean, spread = known.sum(), value[known].mean(), value[known].std()
    weight = convolve(known.astype(float), near, mode="constant")
    summed = convolve(np.where(known, value - mean, 0.0), near, mode="constant")
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = spread * np.sqrt((n * weight - weight**2) / (n - 1))
        return np.where(known & (scale > 0), summed / scale, np.nan)


def find_weak(gi_star: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how surely each cell lies among weak ones: its p, adjusted for how many are tried.

    The rate of false discoveries among all cells with p up to some level is that level at most.

    References
    ----------
    [BENJAMINI-1995]
    """
    known = np.isfinite(gi_star)
    adjusted = np.ones(gi_star.shape)
    if known.any():
        adjusted[known] = false_discovery_control(norm.cdf(gi_star[known]))
    return adjusted
