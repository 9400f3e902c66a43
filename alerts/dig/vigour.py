"""How strong vines look, on the grid of their block: the contract of what patches are found in."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

MOST_CELLS = 2_000_000


class VigourError(ValueError):
    """A table of vigour that no block can have."""


@dataclass(frozen=True)
class Planting:
    """How the vines of a block stand.

    row_m : between neighbouring rows [m]
    vine_m : between neighbouring vines of a row [m]
    azimuth_deg : the way in which the vines of a row are numbered, clockwise from north [deg]
    is_left : whether rows are numbered to the left of that way, and not to its right
    first_vine : latitude and longitude of vine 1 in row 1, WGS 84
    """

    row_m: float
    vine_m: float
    azimuth_deg: float | None = None
    is_left: bool = False
    first_vine: tuple[float, float] | None = field(default=None, repr=False)

    @property
    def north_deg(self) -> float | None:
        """Which way north is where rows lie along a map, the first on top: from its right edge,
        counterclockwise. [deg]
        """
        if self.azimuth_deg is None:
            return None
        return -self.azimuth_deg if self.is_left else self.azimuth_deg


@dataclass(frozen=True, eq=False)
class Vigour:
    """Vigour by cell: a vine each, or several vines where it was measured more coarsely.

    value : shape (n_rows, n_places); more is stronger, in whatever unit; NaN where none was taken
    first_row, first_vine : the numbers of the vine in the corner of cell [0, 0]
    rows_each, vines_each : how many rows and vines a cell spans
    """

    value: NDArray[np.float64]
    planting: Planting
    first_row: int
    first_vine: int
    rows_each: int = 1
    vines_each: int = 1

    @property
    def is_known(self) -> NDArray[np.bool_]:
        """Which cells have a value."""
        return np.isfinite(self.value)

    @property
    def step_m(self) -> tuple[float, float]:
        """Return how far cells lie apart, across the rows and along them. [m]"""
        return self.rows_each * self.planting.row_m, self.vines_each * self.planting.vine_m

    def name_vine(self, cell: tuple[int, int]) -> tuple[int, int]:
        """Return the row and number of the vine in the middle of a cell."""
        row, place = cell
        return (
            self.first_row + row * self.rows_each + (self.rows_each - 1) // 2,
            self.first_vine + place * self.vines_each + (self.vines_each - 1) // 2,
        )

    def find_cell(self, vine: tuple[int, int]) -> tuple[int, int]:
        """Return the cell in which a vine stands, by its row and number."""
        return (
            (vine[0] - self.first_row) // self.rows_each,
            (vine[1] - self.first_vine) // self.vines_each,
        )


def grid_vines(
    rows: NDArray[np.int64],
    vines: NDArray[np.int64],
    values: NDArray[np.float64],
    planting: Planting,
    rows_each: int = 1,
    vines_each: int = 1,
) -> Vigour:
    """Return vigour by the row and vine numbers of a block, those of a cell averaged.

    Raises
    ------
    VigourError
        Where the numbers span more than `MOST_CELLS` vines, or nothing was measured.
    """
    if not values.size:
        raise VigourError("nothing was measured")
    first_row, first_vine = int(rows.min()), int(vines.min())
    i, j = (rows - first_row) // rows_each, (vines - first_vine) // vines_each
    shape = int(i.max()) + 1, int(j.max()) + 1
    if shape[0] * shape[1] > MOST_CELLS:
        raise VigourError(
            f"rows {first_row} to {rows.max()} with vines {first_vine} to {vines.max()} are more "
            f"than {MOST_CELLS:,} vines; look for a wrong number"
        )
    summed, count = np.zeros(shape), np.zeros(shape)
    np.add.at(summed, (i, j), values)
    np.add.at(count, (i, j), 1)
    with np.errstate(invalid="ignore"):
        return Vigour(summed / count, planting, first_row, first_vine, rows_each, vines_each)


def grid_metres(
    along_m: NDArray[np.float64],
    across_m: NDArray[np.float64],
    values: NDArray[np.float64],
    planting: Planting,
) -> Vigour:
    """Return vigour by metres from the first vine of row 1, along the rows and across them.

    Points that are denser than vines are averaged for each vine; of coarser ones a cell is as many
    whole rows and vines as come nearest to their distance.

    Raises
    ------
    VigourError
        As `grid_vines`.
    """
    if values.size < 2:
        raise VigourError("one point is no block; write at least two")
    points = np.unique(np.column_stack([along_m, across_m]), axis=0)
    nearest_m, _ = KDTree(points).query(points, k=2)  # the first of two is the point itself
    apart_m = float(np.median(nearest_m[:, 1])) if len(points) > 1 else 0.0
    rows_each, vines_each = (
        max(1, round(apart_m / step)) for step in (planting.row_m, planting.vine_m)
    )
    rows = 1 + np.rint(across_m / planting.row_m).astype(np.int64)
    vines = 1 + np.rint(along_m / planting.vine_m).astype(np.int64)
    return grid_vines(rows, vines, values, planting, rows_each, vines_each)
