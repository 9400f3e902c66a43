"""The depths that the root-zone temperature of a block rests on, each with its share."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Weights = Literal["even", "roots"]

ROOT_BETA = 0.983  # per cm of depth, [GALE-1987], from memory
NEAR_CM = 5.0  # a depth this far outside the root zone still speaks for it
SHALLOW_CM = 10.0
"""Probes that end further above the bottom of the root zone are too shallow for it. Ours."""


def root_zone_weights(
    depths_cm: Sequence[float], top_cm: float, bottom_cm: float, weights: Weights = "even"
) -> NDArray[np.float64]:
    """Return the share of each depth in the mean temperature over a root zone.

    The mean over [top, bottom] of T(z), piecewise linear through the depths and constant above the
    shallowest and below the deepest; with "roots" weighted by the density of roots, the slope of
    Y = 1 - beta^z.

    Parameters
    ----------
    depths_cm : sequence, ascending, each once
    top_cm, bottom_cm : float
        The root zone, top above bottom.

    Returns
    -------
    array, shape (n_depths,)
        Summing to 1; 0 for a depth that has no part in it.

    References
    ----------
    [GALE-1987] for the form of the root distribution.
    """
    edges_cm = [top_cm, *(z for z in depths_cm if top_cm < z < bottom_cm), bottom_cm]
    share = np.zeros(len(depths_cm))
    for upper_cm, lower_cm in pairwise(edges_cm):
        mass, mean_depth_cm = _layer(upper_cm, lower_cm, weights)
        # T is linear within a layer, so its weighted mean is T at the weighted mean depth
        share += mass * np.array([_hat(mean_depth_cm, i, depths_cm) for i in range(share.size)])
    return share / share.sum()


def _layer(upper_cm: float, lower_cm: float, weights: Weights) -> tuple[float, float]:
    """Return the weight of a layer and its weighted mean depth [cm]."""
    if weights == "even":
        return lower_cm - upper_cm, (upper_cm + lower_cm) / 2
    upper, lower = ROOT_BETA**upper_cm, ROOT_BETA**lower_cm
    mass = upper - lower
    return mass, (upper_cm * upper - lower_cm * lower) / mass - 1 / np.log(ROOT_BETA)


def _hat(z_cm: float, i: int, depths_cm: Sequence[float]) -> float:
    """Return the share of depth i in T(z) by linear interpolation, constant beyond the ends."""
    unit = np.zeros(len(depths_cm))
    unit[i] = 1.0
    return float(np.interp(z_cm, depths_cm, unit))


def find_basis(
    depths_cm: Sequence[float], top_cm: float, bottom_cm: float, weights: Weights = "even"
) -> dict[float, float]:
    """Return the depths a block's root-zone temperature rests on, each with its share.

    Empty ("no basis") where no depth lies within the root zone or within 5 cm of it.
    """
    return dict(_find_basis(tuple(sorted(set(depths_cm))), top_cm, bottom_cm, weights))


@lru_cache(maxsize=1000)
def _find_basis(
    ordered: tuple[float, ...], top_cm: float, bottom_cm: float, weights: Weights
) -> tuple[tuple[float, float], ...]:
    """Return the same as pairs; the blocks of a region have few kinds of it."""
    if not any(top_cm - NEAR_CM <= z <= bottom_cm + NEAR_CM for z in ordered):
        return ()
    shares = root_zone_weights(ordered, top_cm, bottom_cm, weights)
    return tuple((z, float(share)) for z, share in zip(ordered, shares, strict=True) if share > 0)


def is_shallow(depths_cm: Sequence[float], bottom_cm: float) -> bool:
    """Return whether the deepest probe leaves much of a root zone below it unmeasured.

    Parameters
    ----------
    depths_cm : sequence
        Of the probes in use.
    bottom_cm : float
        Of the root zone.
    """
    return bool(depths_cm) and max(depths_cm) < bottom_cm - SHALLOW_CM
