"""Which neighbours a block may borrow root-zone days from, by where they lie."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from math import isnan
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from alerts.neighbours import FAR_KM, FAR_M, Lenders, find_unlikeness
from alerts.notices import Neighbour
from service.geography import find_distances_km

if TYPE_CHECKING:
    from service.store.blocks import Block

MOST_KNOWN = 12
"""So many a block knows, for yearly curves."""
CANDIDATES = 6
"""From so many of them it may borrow days; alerts.neighbours takes those that have readings."""


@dataclass(frozen=True)
class Lender:
    """A block with probes, or a station as if it were one, that another block may borrow from.

    higher_m : how much higher it lies than the other block; None: not known
    """

    place: Block
    is_station: bool
    distance_km: float
    higher_m: float | None
    unlikeness: float

    @property
    def name(self) -> str:
        """What people call it: a station by its site."""
        return self.place.site_name if self.is_station else self.place.name


class Neighbourhood:
    """All that may lend, ready to be asked by one block after the other."""

    def __init__(self, blocks: Iterable[Block], stations: Collection[Block]) -> None:
        self._places = [one for one in (*blocks, *stations) if _may_lend(one)]
        self._n_blocks = len(self._places) - sum(_may_lend(one) for one in stations)
        self._where = _Where(self._places)
        self._found: dict[str, tuple[Lender, ...]] = {}

    def find_lenders(self, block: Block) -> tuple[Lender, ...]:
        """Return the neighbours that lend to a block, the most alike first.

        No two of them share a probe, nor one with the block: it would be no second witness.
        """
        if block.id not in self._found:
            self._found[block.id] = self._find(block)
        return self._found[block.id]

    def _find(self, block: Block) -> tuple[Lender, ...]:
        apart = self._where.seen_from(_Where([block]))
        distance_km, higher_m, unlikeness = (of_block[0] for of_block in apart)
        too_far = (distance_km > FAR_KM) | (np.abs(higher_m) > FAR_M)
        found: list[Lender] = []
        used = set(_probes_of(block))
        for row in np.argsort(unlikeness, kind="stable").tolist():
            place = self._places[row]
            is_itself = row < self._n_blocks and place.id == block.id
            if too_far[row] or is_itself or place.south != block.south:
                continue
            probes = _probes_of(place)
            if probes & used:
                continue
            used |= probes
            height_m = None if isnan(higher_m[row]) else float(higher_m[row])
            is_station = row >= self._n_blocks
            found.append(
                Lender(place, is_station, float(distance_km[row]), height_m, float(unlikeness[row]))
            )
            if len(found) == MOST_KNOWN:
                break
        return tuple(found)


def describe_lenders(lenders: Sequence[Lender]) -> Lenders:
    """Return how unlike the lenders of a block are to it and to each other."""
    where = _Where([one.place for one in lenders])
    _, _, between = where.seen_from(where)
    heights_m = [np.nan if one.higher_m is None else one.higher_m for one in lenders]
    unlikeness = [one.unlikeness for one in lenders]
    return Lenders(np.array(heights_m, float), np.array(unlikeness, float), between)


class _Where:
    """Where places lie, as arrays."""

    def __init__(self, places: Sequence[Block]) -> None:
        self.latitude = np.array([one.latitude for one in places], float)
        self.longitude = np.array([one.longitude for one in places], float)
        heights = [np.nan if one.elevation_m is None else one.elevation_m for one in places]
        self.elevation_m = np.array(heights, float)
        self.district = np.array([one.district_id or "" for one in places], object)

    def seen_from(self, others: _Where) -> tuple[NDArray[np.float64], ...]:
        """Return, for others x these, distance [km], how much higher these lie [m], unlikeness."""
        distance_km = find_distances_km(
            others.latitude[:, np.newaxis],
            others.longitude[:, np.newaxis],
            self.latitude,
            self.longitude,
        )
        higher_m = self.elevation_m - others.elevation_m[:, np.newaxis]
        elsewhere = (self.district != others.district[:, np.newaxis]).astype(np.bool_)
        return distance_km, higher_m, find_unlikeness(distance_km, higher_m, elsewhere)


def describe_neighbour(lender: Lender) -> Neighbour:
    """Return a lender as people are told of it."""
    return Neighbour(lender.name, lender.distance_km, lender.higher_m, lender.is_station)


def _probes_of(place: Block) -> set[int]:
    return {stretch.probe_id for stretch in place.stretches if not isnan(stretch.depth_cm)}


def _may_lend(place: Block) -> bool:
    """Return whether something measures a place by itself, there."""
    probes = _probes_of(place)
    return bool(probes) and not place.sources and not probes & place.hand_probes
