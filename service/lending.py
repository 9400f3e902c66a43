"""Which neighbours a block may borrow root-zone days from, by where they lie."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from itertools import islice
from math import isnan
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from alerts.neighbours import FAR_KM, FAR_M, Lenders, find_unlikeness
from alerts.notices import Neighbour
from service.geography import find_distances_km
from service.store.block_records import Block, Lender

MOST_KNOWN = 12
"""So many a block knows, for yearly curves."""
AT_ONCE = 2 * MOST_KNOWN
"""So many places are read together, to find that many among them."""


Near = tuple[int, float, float, float]
"""The number of a place, its distance [km], how much higher it lies [m], its unlikeness."""


class Lying(Protocol):
    """Something that lies somewhere."""

    @property
    def latitude(self) -> float: ...
    @property
    def longitude(self) -> float: ...
    @property
    def elevation_m(self) -> float | None: ...
    @property
    def district_id(self) -> str | None: ...


class Neighbourhood:
    """All that may lend, ready to be asked by one block after the other.

    where : where places lie, blocks first
    read : gives, of the numbers of some places, those that may lend
    """

    def __init__(
        self,
        where: Sequence[Lying],
        n_blocks: int,
        read: Callable[[Sequence[int]], Mapping[int, Block]],
    ) -> None:
        self._where = Whereabouts(where)
        self._n_blocks = n_blocks
        self._read = read
        self._found: dict[str, tuple[Lender, ...]] = {}

    @classmethod
    def of(cls, blocks: Iterable[Block], stations: Collection[Block]) -> Neighbourhood:
        """Return the neighbourhood that these places are."""
        places = [one for one in (*blocks, *stations) if may_lend(one)]
        n_blocks = len(places) - sum(may_lend(one) for one in stations)
        return cls(places, n_blocks, lambda rows: {row: places[row] for row in rows})

    def find_lenders(self, block: Block) -> tuple[Lender, ...]:
        """Return the neighbours that lend to a block, the most alike first.

        No two of them share a probe, nor one with the block: it would be no second witness.
        """
        if block.id not in self._found:
            self._found[block.id] = self._find(block)
        return self._found[block.id]

    def _find(self, block: Block) -> tuple[Lender, ...]:
        found: list[Lender] = []
        used = set(_probes_of(block))
        for (row, distance_km, higher_m, unlikeness), place in self._walk(block):
            is_itself = row < self._n_blocks and place.id == block.id
            if is_itself or place.south != block.south:
                continue
            probes = _probes_of(place)
            if probes & used:
                continue
            used |= probes
            height_m = None if isnan(higher_m) else higher_m
            is_station = row >= self._n_blocks
            found.append(Lender(place, is_station, distance_km, height_m, unlikeness))
            if len(found) == MOST_KNOWN:
                break
        return tuple(found)

    def _walk(self, block: Block) -> Iterator[tuple[Near, Block]]:
        """Yield what may lend to a block, the most alike first, read a few at a time."""
        near = self._where.find_near(block)
        while some := list(islice(near, AT_ONCE)):
            read = self._read([row for row, *_ in some])
            yield from ((one, read[one[0]]) for one in some if one[0] in read)


def describe_lenders(lenders: Sequence[Lender]) -> Lenders:
    """Return how unlike the lenders of a block are to it and to each other."""
    where = Whereabouts([one.place for one in lenders])
    _, _, between = where.seen_from(where)
    heights_m = [np.nan if one.higher_m is None else one.higher_m for one in lenders]
    unlikeness = [one.unlikeness for one in lenders]
    return Lenders(np.array(heights_m, float), np.array(unlikeness, float), between)


class Whereabouts:
    """Where places lie, as arrays."""

    def __init__(self, places: Sequence[Lying]) -> None:
        self.latitude = np.array([one.latitude for one in places], float)
        self.longitude = np.array([one.longitude for one in places], float)
        heights = [np.nan if one.elevation_m is None else one.elevation_m for one in places]
        self.elevation_m = np.array(heights, float)
        self.district = np.array([one.district_id or "" for one in places], object)

    def find_near(self, one: Lying) -> Iterator[Near]:
        """Yield the places that lie near enough to lend to one, the most alike first."""
        distance_km, higher_m, unlikeness = (of[0] for of in self.seen_from(Whereabouts([one])))
        near = np.flatnonzero((distance_km <= FAR_KM) & ~(np.abs(higher_m) > FAR_M))
        rows = near[np.argsort(unlikeness[near], kind="stable")]
        columns = (column[rows].tolist() for column in (distance_km, higher_m, unlikeness))
        yield from zip(rows.tolist(), *columns, strict=True)

    def seen_from(self, others: Whereabouts) -> tuple[NDArray[np.float64], ...]:
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


def may_lend(place: Block) -> bool:
    """Return whether something measures a place by itself, there."""
    probes = _probes_of(place)
    return bool(probes) and not place.sources and not probes & place.hand_probes
