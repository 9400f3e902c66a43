"""In which order crews and machines go to blocks, so that they carry the insect to none."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from alerts.dig.route import find_route
from alerts.dig.status import BlockStatus, Standing
from alerts.news import Rank

CLASSES = (Standing.NOT_FOUND, Standing.NOT_LOOKED_AT, Standing.SUSPECTED, Standing.FOUND)
"""Those from which least is likely to be carried first. Of a block that nobody has looked at
nothing is known: it comes after those that were dug, and before those with a reason to suspect
them. Ours, no source."""


class Cleaning(StrEnum):
    """What boots, tools and machines need before they enter a block. Ours, no source."""

    FIRST = "begin with cleaned kit"
    SOIL_OFF = "soil off"
    DISINFECT = "soil off, then disinfect"


@dataclass(frozen=True)
class Stop:
    """A block to be visited."""

    block_id: str
    site_id: str
    status: BlockStatus


@dataclass(frozen=True)
class Visit:
    """A block in its place in the order.

    way_km : from the block before, or the start; None where it begins here
    cleaning : before it is entered
    """

    stop: Stop
    way_km: float | None
    cleaning: Cleaning


def rank_status(status: BlockStatus, alike: int = 1) -> Rank:
    """Return where a block stands in the order, least first; `NOTHING_KNOWN`: not looked at.

    Parameters
    ----------
    alike : how many points of confidence are no difference: with 5, 90 to 94 % are one
    """
    percent = -1 if status.percent is None else status.percent
    is_sure = status.standing is Standing.NOT_FOUND
    place = CLASSES.index(status.standing) - CLASSES.index(Standing.NOT_LOOKED_AT)
    return place, -(percent // alike) if is_sure else 0


def order_blocks(
    stops: Sequence[Stop],
    between_km: NDArray[np.float64],
    start_km: NDArray[np.float64] | None = None,
    alike: int = 1,
) -> list[Visit]:
    """Return the blocks by rank, those of one rank by a short way from the last one before.

    Parameters
    ----------
    between_km : array, shape (n, n)
        Distances of the blocks, in the order given. [km]
    start_km : array, shape (n,), optional
        From where the crews begin; None: they begin in the first block. [km]
    """

    def rank(place: int) -> Rank:
        return rank_status(stops[place].status, alike)

    order: list[int] = []
    from_km = start_km
    for _, of_rank in groupby(sorted(range(len(stops)), key=rank), key=rank):
        places = [*of_rank]
        near_km = None if from_km is None else from_km[places]
        order += [places[one] for one in find_route(between_km[np.ix_(places, places)], near_km)]
        from_km = between_km[order[-1]]
    return [*_visit(stops, order, between_km, start_km)]


def _visit(
    stops: Sequence[Stop],
    order: Sequence[int],
    between_km: NDArray[np.float64],
    start_km: NDArray[np.float64] | None,
) -> Iterator[Visit]:
    for number, place in enumerate(order):
        stop = stops[place]
        if number:
            before = order[number - 1]
            yield Visit(stop, float(between_km[before, place]), find_cleaning(stops[before], stop))
        else:
            way_km = None if start_km is None else float(start_km[place])
            yield Visit(stop, way_km, Cleaning.FIRST)


def find_cleaning(left: Stop, entered: Stop) -> Cleaning:
    """Return what is needed from one block into another.

    Soil comes off in any case. Disinfection as well where the block behind may hold the insect by
    more than what digging can miss, or the next one is of another site.
    """
    is_dug = left.status.standing is Standing.NOT_FOUND
    return Cleaning.SOIL_OFF if is_dug and left.site_id == entered.site_id else Cleaning.DISINFECT
