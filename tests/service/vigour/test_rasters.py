"""GeoTIFF of vigour laid on the vines of a block; the rasters are written by [RASTERIO]."""

from __future__ import annotations

import sys
from dataclasses import replace
from math import cos, radians, sin, sqrt

import numpy as np
import pytest
from numpy.typing import NDArray
from rasterio import Affine, MemoryFile
from rasterio.warp import transform

from alerts.dig.patches import survey_block
from alerts.dig.vigour import Planting, Vigour, VigourError
from service.vigour import rasters
from service.vigour.files import read_vigour
from tests.vigour_blocks import plant_vigour

FIRST_VINE = (-34.0201, 149.9605)
PLANTING = Planting(3.0, 1.8, 15.0, first_vine=FIRST_VINE)
UTM = "EPSG:32755"


def metres_from_first_vine(
    longitude: NDArray[np.float64], latitude: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """East and north by the radii of curvature of the ellipsoid.

    source: [WGS84] semi-major axis and flattening; radii of meridian and prime vertical by hand
    """
    axis, flattening = 6_378_137.0, 1 / 298.257223563
    squared = flattening * (2 - flattening)
    phi = radians(FIRST_VINE[0])
    bend = 1 - squared * sin(phi) ** 2
    meridian, prime = axis * (1 - squared) / bend**1.5, axis / sqrt(bend)
    east = np.radians(longitude - FIRST_VINE[1]) * prime * cos(phi)
    return east, np.radians(latitude - FIRST_VINE[0]) * meridian


def draw_raster(
    vigour: Vigour, planting: Planting, pixel: float, crs: str | None = UTM, bands: int = 1
) -> bytes:
    """Return a block as a GeoTIFF: each pixel has the value of the vine it lies at."""
    angle, side = radians(planting.azimuth_deg or 0.0), -1 if planting.is_left else 1
    turn = np.array([[sin(angle), cos(angle)], [side * cos(angle), -side * sin(angle)]])
    step = np.array([planting.vine_m, planting.row_m])
    ends = (
        np.array([[0, 1, 0, 1], [0, 0, 1, 1]])
        * (np.array(vigour.value.shape[::-1]) * step)[:, None]
    )
    east, north = np.linalg.inv(turn) @ ends
    (first_x,), (first_y,) = transform("EPSG:4326", UTM, [FIRST_VINE[1]], [FIRST_VINE[0]])[:2]
    left, top = first_x + east.min() - 6, first_y + north.max() + 6
    wide = max(np.ptp(east), np.ptp(north)) + 12
    if crs == "EPSG:4326":
        (left,), (top,) = transform(UTM, crs, [left], [top])[:2]
        wide, pixel = wide / 92_000, pixel / 92_000
    count = int(wide / pixel)
    to_x = Affine(pixel, 0, left, 0, -pixel, top)
    steps = pixel * (np.arange(count) + 0.5)
    x, y = (one.ravel() for one in np.meshgrid(left + steps, top - steps))
    longitude, latitude = transform(crs or UTM, "EPSG:4326", x.tolist(), y.tolist())[:2]
    east, north = metres_from_first_vine(np.array(longitude), np.array(latitude))
    along, across = turn @ (east, north)
    i = np.rint(across / planting.row_m).astype(int)
    j = np.rint(along / planting.vine_m).astype(int)
    within = (i >= 0) & (i < vigour.value.shape[0]) & (j >= 0) & (j < vigour.value.shape[1])
    band = np.full(i.size, -9999.0, dtype="float32")
    band[within] = np.nan_to_num(vigour.value[i[within], j[within]], nan=-9999.0)
    profile = {"driver": "GTiff", "width": count, "height": count, "dtype": "float32"}
    with MemoryFile() as memory:
        with memory.open(
            **profile,
            count=bands,
            crs=crs,
            transform=to_x,
            nodata=-9999.0,
            compress="deflate",
        ) as raster:
            for number in range(1, bands + 1):
                raster.write(band.reshape(count, count), number)
                raster.set_band_description(number, f"index {number}")
        return memory.read()


@pytest.fixture(scope="module")
def planted() -> tuple[Vigour, NDArray[np.bool_]]:
    return plant_vigour(13, patches=2, shape=(24, 40))


@pytest.mark.parametrize(
    ("planting", "crs"),
    [
        (PLANTING, UTM),
        (replace(PLANTING, is_left=True, azimuth_deg=230.0), UTM),
        (PLANTING, "EPSG:4326"),
    ],
    ids=["rows to the right", "rows to the left", "degrees"],
)
def test_each_vine_has_the_mean_of_the_pixels_at_it(
    planted: tuple[Vigour, NDArray[np.bool_]], planting: Planting, crs: str
) -> None:
    vigour, _ = planted
    read = read_vigour(draw_raster(vigour, planting, 0.5, crs), planting)
    assert read.vigour.name_vine((0, 0)) == (1, 1)
    assert read.vigour.value.shape == vigour.value.shape
    assert (read.vigour.is_known == vigour.is_known).all()
    known = vigour.is_known
    # a pixel or two of twenty may count to the vine beside it
    assert read.vigour.value[known] == pytest.approx(vigour.value[known], rel=0.05)
    assert read.measure == "index 1"
    assert (read.read, read.missing) == (known.sum(), (~known).sum())


def test_pixels_far_finer_than_vines_are_averaged(
    planted: tuple[Vigour, NDArray[np.bool_]],
) -> None:
    vigour, _ = planted
    fine = read_vigour(draw_raster(vigour, PLANTING, 0.2), PLANTING).vigour
    both = vigour.is_known
    assert (fine.is_known == both).all()
    # averaged pixels of 40 cm mix neighbours at the edge of a vine's ground
    assert np.abs(fine.value[both] / vigour.value[both] - 1).mean() < 0.02


def test_coarse_pixels_make_cells_of_several_vines_and_the_patches_stay(
    planted: tuple[Vigour, NDArray[np.bool_]],
) -> None:
    vigour, cells = planted
    read = read_vigour(draw_raster(vigour, PLANTING, 5.0), PLANTING).vigour
    # by hand: 5 m are 1.7 rows of 3 m and 2.8 vines of 1.8 m
    assert (read.rows_each, read.vines_each) == (2, 3)
    assert read.is_known.mean() > 0.95
    found = {vine for one in survey_block(read).patches for vine in one.vines}
    weak = {(int(i) + 1, int(j) + 1) for i, j in np.argwhere(cells)}
    assert len(found & weak) > 0.5 * len(weak)


def test_without_a_first_vine_it_stands_in_the_corner_of_what_has_data(
    planted: tuple[Vigour, NDArray[np.bool_]],
) -> None:
    vigour, _ = planted
    content = draw_raster(vigour, PLANTING, 0.5)
    read = read_vigour(content, replace(PLANTING, first_vine=None)).vigour
    both = read.is_known[:24, :40] & vigour.is_known
    assert read.value.shape == (24, 40)
    assert np.corrcoef(read.value[both], vigour.value[both])[0, 1] > 0.95


def test_a_band_is_chosen_by_its_name_or_number(
    planted: tuple[Vigour, NDArray[np.bool_]],
) -> None:
    content = draw_raster(planted[0], PLANTING, 3.0, bands=2)
    assert read_vigour(content, PLANTING, "2").measure == "index 2"
    with pytest.raises(VigourError, match="there are: index 1, index 2"):
        read_vigour(content, PLANTING)


def test_what_cannot_be_laid_on_the_block_says_what_to_do(
    planted: tuple[Vigour, NDArray[np.bool_]], monkeypatch: pytest.MonkeyPatch
) -> None:
    content = draw_raster(planted[0], PLANTING, 3.0)
    with pytest.raises(VigourError, match="write row_azimuth_deg"):
        read_vigour(content, Planting(3.0, 1.8))
    with pytest.raises(VigourError, match="look at first_vine, row_azimuth_deg and"):
        read_vigour(content, replace(PLANTING, azimuth_deg=195.0))
    with pytest.raises(VigourError, match="export it with its coordinate system"):
        read_vigour(draw_raster(planted[0], PLANTING, 3.0, crs=None), PLANTING)
    with pytest.raises(VigourError, match="it cannot be read as a GeoTIFF"):
        read_vigour(content[:200], PLANTING)
    monkeypatch.setitem(sys.modules, "rasterio", None)
    with pytest.raises(VigourError, match=r"pip install '\.\[geotiff\]' in the folder"):
        read_vigour(content, PLANTING)


def test_of_a_raster_of_more_pixels_than_are_laid_more_are_averaged(
    planted: tuple[Vigour, NDArray[np.bool_]], monkeypatch: pytest.MonkeyPatch
) -> None:
    vigour, _ = planted
    monkeypatch.setattr(rasters, "MOST_LAID", 10_000)
    coarse = read_vigour(draw_raster(vigour, PLANTING, 0.5), PLANTING).vigour
    both = vigour.is_known & coarse.is_known
    assert both.sum() > 0.95 * vigour.is_known.sum()
    assert np.abs(coarse.value[both] / vigour.value[both] - 1).mean() < 0.05


def test_a_small_file_that_unpacks_to_gigabytes_is_refused_unread() -> None:
    side, bands = 1100, 40
    profile = {"driver": "GTiff", "width": side, "height": side, "count": bands, "dtype": "uint8"}
    packed = {"compress": "deflate", "interleave": "pixel", "blockysize": side}
    place = {"crs": UTM, "transform": Affine(0.5, 0, 500_000, 0, -0.5, 6_200_000)}
    with MemoryFile() as memory:
        with memory.open(**profile, **packed, **place):
            pass
        content = memory.read()
    assert len(content) < 200_000
    with pytest.raises(VigourError, match="packs as one piece is too large"):
        read_vigour(content, PLANTING, "1")
