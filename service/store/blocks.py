"""The active blocks with all that deciding about them needs."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Connection, Select, func, literal, select

from alerts.neighbours import FAR_KM
from service.geography import KM_PER_DEGREE
from service.lending import Neighbourhood, may_lend
from service.store.among import among
from service.store.block_records import Block, Lender, Stretch
from service.store.engine import reading
from service.store.places import Which, read_places
from service.store.tables import block, block_probe, logger, site, site_for_study

__all__ = ["Block", "Stretch", "fetch_block_names", "fetch_blocks"]

FEW = 20
"""So many blocks are read without all others; more are as soon read with them."""


def fetch_blocks(connection: Connection, only: Collection[str] = ()) -> list[Block]:
    """Return the active blocks, all or those named, by site and name."""
    few = Which(only) if 0 < len(only) <= FEW else None
    known, stations = read_places(connection, few)
    blocks = [one for one, is_active in known if is_active and (not only or one.id in only)]
    every = [one for one, _ in known]
    neighbourhood = _Around(connection, blocks) if few else Neighbourhood.of(every, stations)
    return [replace(one, neighbourhood=neighbourhood) for one in blocks]


def fetch_told_blocks(connection: Connection) -> list[Block]:
    """Return the active blocks of which people are told: not those of sites for study only."""
    for_study = set(connection.scalars(select(site_for_study.c.site_id)))
    return [one for one in fetch_blocks(connection) if one.site_id not in for_study]


def fetch_block_names(connection: Connection, ids: Collection[str]) -> set[str]:
    """Return what active blocks are called."""
    active = block.c.retired_at.is_(None), site.c.retired_at.is_(None)
    query = select(block.c.name).join(site).where(among(block.c.id, ids), *active)
    return set(connection.scalars(query))


@dataclass(frozen=True)
class _Place:
    """Where a block or station lies, of which nothing else has been read."""

    id: str
    is_station: bool
    latitude: float
    longitude: float
    elevation_m: float | None
    district_id: str | None


class _Around:
    """What lies around some blocks, read once one of them asks for its neighbours."""

    def __init__(self, connection: Connection, blocks: Sequence[Block]) -> None:
        self._connection = connection
        self._latitudes = [one.latitude for one in blocks]
        self._places: list[_Place] = []
        self._known: dict[int, Block | None] = {}
        self._neighbourhood: Neighbourhood | None = None

    def find_lenders(self, block: Block) -> tuple[Lender, ...]:
        """Return the neighbours that lend to one of the blocks, the most alike first."""
        if not self._connection.closed:
            return self._find(block)
        with reading(self._connection.engine) as self._connection:
            return self._find(block)

    def _find(self, block: Block) -> tuple[Lender, ...]:
        if self._neighbourhood is None:
            self._places = _fetch_around(self._connection, self._latitudes)
            n_blocks = sum(not one.is_station for one in self._places)
            self._neighbourhood = Neighbourhood(self._places, n_blocks, self._read)
        return self._neighbourhood.find_lenders(block)

    def _read(self, rows: Sequence[int]) -> Mapping[int, Block]:
        """Return those of some places that may lend."""
        places, unread = self._places, [row for row in rows if row not in self._known]
        if unread:
            of_blocks, of_stations = (
                {places[row].id: row for row in unread if places[row].is_station == kind}
                for kind in (False, True)
            )
            known, stations = read_places(self._connection, Which(of_blocks, of_stations))
            found = {of_blocks[one.id]: one for one, _ in known}
            found |= {of_stations[one.id]: one for one in stations}
            self._known |= {row: one if may_lend(one) else None for row, one in found.items()}
        return {row: place for row in rows if (place := self._known[row])}


def _fetch_around(connection: Connection, latitudes: Sequence[float]) -> list[_Place]:
    """Return the blocks and then the stations at about these latitudes that may have probes."""
    reach = 1.01 * FAR_KM / KM_PER_DEGREE

    def within(query: Select[*tuple[Any, ...]], latitude: Any, *order: Any) -> list[_Place]:
        lie = latitude.between(min(latitudes) - reach, max(latitudes) + reach)
        return [_Place(*row) for row in connection.execute(query.where(lie).order_by(*order))]

    latitude = func.coalesce(block.c.latitude, site.c.latitude)
    longitude = func.coalesce(block.c.longitude, site.c.longitude)
    rest = site.c.elevation_m, site.c.district_id
    has_loggers = block.c.site_id.in_(select(logger.c.site_id))
    has_basis = block.c.id.in_(select(block_probe.c.block_id))
    blocks = select(block.c.id, literal(False), latitude, longitude, *rest).join(site)
    stations = select(logger.c.id, literal(True), site.c.latitude, site.c.longitude, *rest)
    stations = stations.join(site).where(logger.c.kind == "station")
    return [
        *within(blocks.where(has_loggers | has_basis), latitude, site.c.name, block.c.name),
        *within(stations, site.c.latitude, logger.c.id),
    ]
