"""A file of vigour, whichever its form."""

from __future__ import annotations

from dataclasses import dataclass, field

from alerts.dig.contrast import check_measure
from alerts.dig.vigour import Planting, Vigour
from probes.frames import Reject

TIFF = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")


@dataclass(frozen=True, eq=False)
class VigourFile:
    """What a file holds: the vigour, what was measured, and what of it does not count."""

    vigour: Vigour
    measure: str
    read: int
    missing: int
    rejects: list[Reject] = field(default_factory=list)


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
    if content.startswith(TIFF):
        from service.vigour.rasters import read_raster as read
    else:
        from service.vigour.tables import read_table as read
    found = read(content, planting, measure)
    check_measure(found.vigour.value[found.vigour.is_known])
    return found
