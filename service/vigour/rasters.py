"""A GeoTIFF of vigour, laid on the vines of a block; read by rasterio, which is optional.

A block is so small that its pixels lie on a plane: three corners, carried to metres east and north
of the first vine, carry all others.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, cos, radians, sin
from typing import Any

import numpy as np
from numpy.typing import NDArray

from alerts.dig.vigour import MOST_CELLS, Planting, Vigour, VigourError, grid_vines
from service.vigour.contract import VigourFile

INSTALL = "pip install '.[geotiff]'"
MOST_PIXELS = 40_000_000
MOST_LAID = 5_000_000
"""Each takes about a hundred bytes; of a larger file more are averaged."""
MOST_M = 5_000.0
"""From end to end: what is larger is no block."""
_A_VINE = 4  # finer pixels are averaged until so many lie along a vine
_LEAST_ON_BLOCK = 0.5
_LEAST_COVERED = 0.25
_WGS84 = "EPSG:4326"

Matrix = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _Pixels:
    """Values, and where they lie.

    place : 2 x 3, of [column, row, 1] to metres along the rows and across them
    """

    values: NDArray[np.float64]
    place: Matrix

    @property
    def size_m(self) -> float:
        """The longer side of a pixel."""
        return float(np.hypot(*self.place[:, :2]).max())


def read_raster(content: bytes, planting: Planting, measure: str | None) -> VigourFile:
    """Read a GeoTIFF by the planting of its block: the way of its rows, spacing, first vine.

    What has no data is no vine, nor what has far less of it than most. Without a known first vine,
    row 1 and vine 1 lie half a spacing within the corner of what has data. Pixels finer than vines
    are averaged for each; where they are coarser, a cell is as many whole rows and vines as come
    nearest to a pixel.

    Raises
    ------
    VigourError
        Also where rasterio is not installed.
    """
    if planting.azimuth_deg is None:
        raise VigourError(
            "a GeoTIFF needs the way in which the rows of its block run; write row_azimuth_deg in "
            "[[block]] of the farm file, then run setup"
        )
    try:
        import rasterio
    except ImportError:
        raise VigourError(
            f"a GeoTIFF is read by rasterio, which is not installed: {INSTALL} in the folder of "
            "Digseason; or write a table"
        ) from None
    from rasterio.errors import RasterioError

    try:
        with rasterio.MemoryFile(content) as memory, memory.open(driver="GTiff") as raster:
            band, name = _find_band(raster, measure)
            pixels = _read_pixels(raster, band, planting)
    except RasterioError:
        raise VigourError("it cannot be read as a GeoTIFF; export it anew") from None
    vigour = _lay(pixels, planting)
    known = int(vigour.is_known.sum())
    return VigourFile(vigour, name, known, vigour.value.size - known)


def _find_band(raster: Any, measure: str | None) -> tuple[int, str]:
    """Return the number and name of the band of vigour: the one that is named, or the only one."""
    from rasterio.enums import ColorInterp

    if raster.crs is None:
        raise VigourError("it does not say where it lies; export it with its coordinate system")
    names = {
        number: described or f"band {number}"
        for number, described in enumerate(raster.descriptions, 1)
        if raster.colorinterp[number - 1] is not ColorInterp.alpha
    }
    for number, name in names.items():
        if measure and measure.lower() in (name.lower(), f"{number}"):
            return number, name
    if measure or len(names) != 1:
        listed = ", ".join(names.values())
        raise VigourError(f"which band is vigour? --measure NAME names it; there are: {listed}")
    return next(iter(names.items()))


def _read_pixels(raster: Any, band: int, planting: Planting) -> _Pixels:
    """Return the values of a band, no finer than vines need."""
    from rasterio.enums import Interleaving

    if raster.width * raster.height > MOST_PIXELS:
        raise VigourError(f"it has more than {MOST_PIXELS:,} pixels; clip it to the block")
    height, width = raster.block_shapes[band - 1]
    at_once = raster.count if raster.interleaving is Interleaving.pixel else 1
    if height * width * at_once > MOST_PIXELS:
        raise VigourError("what it packs as one piece is too large; export it anew, in tiles")
    place = _find_place(raster, planting)
    whole_m = np.abs(place[:, :2]) @ (raster.width, raster.height)
    if whole_m.max() > MOST_M:
        raise VigourError(f"it is {whole_m.max():,.0f} m long; clip it to the block")
    fine_m = np.hypot(*place[:, :2]).min()
    step = max(1, int(min(planting.row_m, planting.vine_m) / _A_VINE / fine_m))
    step = max(step, ceil((raster.width * raster.height / MOST_LAID) ** 0.5))
    values = raster.read(band, masked=True).astype(np.float32).filled(np.nan)
    values[~np.isfinite(values)] = np.nan
    values = _average(values, step)
    if np.isnan(values).all():
        raise VigourError("it has no data")
    pixels = _Pixels(values, place @ np.diag([step, step, 1.0]))
    return pixels if planting.first_vine else _Pixels(values, _shift(pixels, planting))


def _average(values: NDArray[np.float32], step: int) -> NDArray[np.float64]:
    """Return the means of squares of pixels, NaN where less than half of one has data."""
    if step == 1:
        return values.astype(float)
    high, wide = (size // step for size in values.shape)
    squares = values[: high * step, : wide * step].reshape(high, step, wide, step)
    counts = np.isfinite(squares).sum(axis=(1, 3))
    with np.errstate(invalid="ignore", divide="ignore"):
        means = np.nansum(squares, axis=(1, 3), dtype=float) / counts
    return np.where(2 * counts >= step**2, means, np.nan)


def _find_place(raster: Any, planting: Planting) -> Matrix:
    """Return where pixels lie along and across the rows, from the first vine or the middle."""
    from rasterio.warp import transform

    corners = np.array([(0, 0, 1), (raster.width, 0, 1), (0, raster.height, 1)], dtype=float)
    x, y = (np.array(raster.transform).reshape(3, 3) @ corners.T)[:2]
    if planting.first_vine:
        latitude, longitude = planting.first_vine
    else:
        middle = [(x[1] + x[2]) / 2], [(y[1] + y[2]) / 2]
        (longitude,), (latitude,) = transform(raster.crs, _WGS84, *middle)[:2]
    local = f"+proj=aeqd +lat_0={latitude} +lon_0={longitude} +datum=WGS84 +units=m"
    metres = np.array(transform(raster.crs, local, x.tolist(), y.tolist())[:2])
    return _turn(planting) @ metres @ np.linalg.inv(corners.T)


def _turn(planting: Planting) -> Matrix:
    """Return what turns metres east and north to metres along the rows and across them."""
    angle = radians(planting.azimuth_deg or 0.0)
    right = np.array([[sin(angle), cos(angle)], [cos(angle), -sin(angle)]])
    return np.diag([1.0, -1.0 if planting.is_left else 1.0]) @ right


def _shift(pixels: _Pixels, planting: Planting) -> Matrix:
    """Return where pixels lie from a first vine in the corner of those that have data."""
    along_m, across_m, _ = _list_known(pixels)
    half_m = pixels.size_m / 2
    corner = [
        along_m.min() - half_m + planting.vine_m / 2,
        across_m.min() - half_m + planting.row_m / 2,
    ]
    shifted = pixels.place.copy()
    shifted[:, 2] -= corner
    return shifted


def _list_known(pixels: _Pixels) -> tuple[NDArray[np.float64], ...]:
    """Return metres along and across of the middle of each pixel with data, and its value."""
    rows, columns = np.nonzero(np.isfinite(pixels.values))
    middles = np.stack([columns + 0.5, rows + 0.5, np.ones(rows.size)])
    along_m, across_m = pixels.place @ middles
    return along_m, across_m, pixels.values[rows, columns]


def _lay(pixels: _Pixels, planting: Planting) -> Vigour:
    along_m, across_m, values = _list_known(pixels)
    rows, vines = _number(along_m, across_m, planting)
    is_there = (rows >= 1) & (vines >= 1)
    if is_there.mean() < _LEAST_ON_BLOCK:
        raise VigourError(
            "most of it lies before the first row or vine; look at first_vine, row_azimuth_deg and "
            "rows_counted of the block, or clip it to the block"
        )
    if pixels.size_m > min(planting.row_m, planting.vine_m):
        vines_of = _ask_vines(pixels, planting, int(rows.max()), int(vines.max()))
        return grid_vines(*vines_of, planting, *_span(pixels.size_m, planting))
    is_there &= _find_covered(rows, vines)
    return grid_vines(rows[is_there], vines[is_there], values[is_there], planting)


def _find_covered(rows: NDArray[np.int64], vines: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Return which pixels are of vines that have about as many as most: a stray one is no vine."""
    key = rows * (np.ptp(vines) + 1) + vines - vines.min()
    _, vine, counts = np.unique(key, return_inverse=True, return_counts=True)
    return (counts >= _LEAST_COVERED * np.median(counts))[vine]


def _number(
    along_m: NDArray[np.float64], across_m: NDArray[np.float64], planting: Planting
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    rows = 1 + np.rint(across_m / planting.row_m).astype(np.int64)
    return rows, 1 + np.rint(along_m / planting.vine_m).astype(np.int64)


def _ask_vines(
    pixels: _Pixels, planting: Planting, last_row: int, last_vine: int
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Return the vines that stand on data: row, number, and the value of the pixel there."""
    if last_row * last_vine > MOST_CELLS:
        raise VigourError(f"it holds more than {MOST_CELLS:,} vines; clip it to the block")
    rows, vines = (one.ravel() for one in np.mgrid[1 : last_row + 1, 1 : last_vine + 1])
    metres = np.stack([(vines - 1) * planting.vine_m, (rows - 1) * planting.row_m])
    back = np.linalg.inv(pixels.place[:, :2])
    columns, lines = np.floor(back @ (metres - pixels.place[:, 2:])).astype(np.int64)
    high, wide = pixels.values.shape
    within = (columns >= 0) & (columns < wide) & (lines >= 0) & (lines < high)
    values = np.full(rows.size, np.nan)
    values[within] = pixels.values[lines[within], columns[within]]
    known = np.isfinite(values)
    return rows[known], vines[known], values[known]


def _span(size_m: float, planting: Planting) -> tuple[int, int]:
    return (
        max(1, round(size_m / planting.row_m)),
        max(1, round(size_m / planting.vine_m)),
    )
