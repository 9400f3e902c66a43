"""How weak each cell is against its own surroundings in the block."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator
from scipy.optimize import least_squares
from scipy.spatial import KDTree
from scipy.stats import median_abs_deviation, norm

from alerts.dig.vigour import Vigour, VigourError

SURROUNDINGS_M = 40.0
"""Wider than the patches that are looked for, narrower than a change of soil. Ours, no source."""
_KNOTS_M = 10.0
_NORMAL = 1 / norm.ppf(0.75)  # of a median absolute deviation, to one standard deviation


def find_contrast(vigour: Vigour, left_out: NDArray[np.bool_] | None = None) -> NDArray[np.float64]:
    """Return by which share each cell is stronger than its surroundings; -0.25: a quarter weaker.

    The surroundings are a robust plane through the whole block, for what changes from end to end,
    times the median of what the cells within 40 m are of that plane. NaN where there is no value.

    Parameters
    ----------
    left_out : array of bool, optional
        Cells that are no measure of what is usual: of patches that were found already.

    Raises
    ------
    VigourError
        Where what is usual is not above zero, so that no share of it can be weak.
    """
    value = vigour.value
    usual = np.isfinite(value)
    if left_out is not None and (usual & ~left_out).any():
        usual &= ~left_out
    check_measure(value[usual])
    across_m, along_m = np.indices(value.shape) * np.reshape(vigour.step_m, (2, 1, 1))
    plane = _fit_plane(across_m, along_m, value, usual)
    plane = np.maximum(plane, 0.2 * np.median(value[usual]))  # a plane may fall below all values
    places_m = np.column_stack([across_m[usual], along_m[usual]])
    medians = _local_medians(places_m, (value / plane)[usual], across_m.max(), along_m.max())
    local = medians(np.stack([across_m, along_m], axis=-1))
    return value / (plane * local) - 1.0


def check_measure(known: NDArray[np.float64]) -> None:
    """Refuse a measure of which no share is weak: the values of most cells are not above zero.

    Raises
    ------
    VigourError
    """
    if not np.median(known) > 0:
        raise VigourError(
            "vigour is mostly zero or below; write a measure of which more is stronger"
        )


def find_noise(contrast: NDArray[np.float64]) -> float:
    """Return one standard deviation of the contrast between vines, heedless of a few weak ones."""
    return float(_NORMAL * median_abs_deviation(contrast[np.isfinite(contrast)]))


def _fit_plane(
    across_m: NDArray[np.float64],
    along_m: NDArray[np.float64],
    value: NDArray[np.float64],
    usual: NDArray[np.bool_],
) -> NDArray[np.float64]:
    """Return a plane that outliers hardly bend, at every cell."""
    known = value[usual]
    scale = float(_NORMAL * median_abs_deviation(known)) or float(np.ptp(known)) or 1.0
    terms = np.stack([np.ones_like(value), across_m / 100.0, along_m / 100.0], axis=-1)
    start = np.array([np.median(known), 0.0, 0.0])
    fitted = least_squares(
        lambda x: terms[usual] @ x - known,
        start,
        loss="cauchy",
        f_scale=scale,
    )
    return terms @ fitted.x


def _local_medians(
    places_m: NDArray[np.float64],
    share: NDArray[np.float64],
    across_m: float,
    along_m: float,
) -> RegularGridInterpolator:
    """Return medians within the surroundings, at knots, with straight lines between them."""
    tree = KDTree(places_m)
    knots = [np.linspace(0.0, max(m, 1e-6), 2 + int(m / _KNOTS_M)) for m in (across_m, along_m)]
    grid = np.stack(np.meshgrid(*knots, indexing="ij"), axis=-1)
    near = tree.query_ball_point(grid.reshape(-1, 2), SURROUNDINGS_M)
    medians = [np.median(share[one]) if one else 1.0 for one in near]
    return RegularGridInterpolator(knots, np.reshape(medians, grid.shape[:2]))
