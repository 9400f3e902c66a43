"""A file of vigour, whichever its form."""

from __future__ import annotations

from alerts.dig.contrast import check_measure
from alerts.dig.vigour import Planting
from service.vigour.contract import VigourFile
from service.vigour.rasters import read_raster
from service.vigour.tables import read_table

TIFF = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")


def read_vigour(content: bytes, planting: Planting, measure: str | None = None) -> VigourFile:
    """Read a table as CSV, or a GeoTIFF, by how it begins.

    Parameters
    ----------
    measure : the name of the column or band of vigour, where there are several

    Raises
    ------
    VigourError
        Where it cannot be read as a whole, or is no measure of which more is stronger.
    """
    read = read_raster if content.startswith(TIFF) else read_table
    found = read(content, planting, measure)
    check_measure(found.vigour.value[found.vigour.is_known])
    return found
