"""Blocks and stations, read from the tables."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Column, ColumnElement, CompoundSelect, Connection, func, select, true

from alerts.notices import StationSource
from alerts.rules import GRAPE_PHYLLOXERA
from probes.soil.carry import KNOWN_FACTOR, TYPICAL_GROUND, Ground
from service.geography import find_distance_km
from service.store.among import among
from service.store.block_records import Block, Stretch
from service.store.serving import Basis, find_beside, find_loggers_now, find_serving, find_stretches
from service.store.tables import (
    block,
    block_borrow,
    block_carry,
    block_probe,
    hand_thermometer,
    logger,
    probe,
    probe_stretch,
    reading,
    site,
)

_PLACE = (
    site.c.name.label("site_name"),
    site.c.utc_offset_min,
    site.c.elevation_m,
    site.c.district_id,
    (site.c.latitude < 0).label("south"),
)


@dataclass(frozen=True)
class Which:
    """Of which blocks and stations the tables are read, by their ids."""

    blocks: Collection[str]
    stations: Collection[str] = ()


def read_places(
    connection: Connection, which: Which | None = None
) -> tuple[list[tuple[Block, bool]], list[Block]]:
    """Return the blocks there have been, by site and name, and whether each is active; and the
    stations there have been, by id, each as a block at its place. None: all.
    """
    probes = _fetch_probes(connection, which)
    known = _fetch_blocks(connection, probes, which and which.blocks)
    return known, _fetch_stations_as_blocks(connection, probes, which and which.stations)


def _only(column: Column[str], ids: Collection[str] | None) -> Any:
    return true() if ids is None else among(column, ids)


@dataclass(frozen=True)
class _Probes:
    """The stretches of each logger, the loggers that speak for a site, the probes read by hand."""

    stretches: Mapping[str, Sequence[Stretch]]
    of_site: Mapping[str, Collection[str]]
    by_hand: Collection[int]


def _fetch_probes(connection: Connection, which: Which | None) -> _Probes:
    stretches: dict[str, list[Stretch]] = defaultdict(list)
    of_site: dict[str, set[str]] = defaultdict(set)
    by_hand: dict[str, set[str]] = defaultdict(set)
    hand_probes: set[int] = set()
    for row in connection.execute(
        select(logger, site.c.utc_offset_min, probe_stretch)
        .join(probe, probe.c.id == probe_stretch.c.probe_id)
        .join(logger, logger.c.id == probe.c.logger_id)
        .join(site, site.c.id == logger.c.site_id)
        .where(probe_stretch.c.until.is_(None) | _has_readings(probe_stretch.c.probe_id))
        .where(true() if which is None else probe.c.logger_id.in_(_find_loggers(which)))
        .order_by(probe_stretch.c.probe_id, probe_stretch.c.valid_from)
    ):
        stretches[row.id] += find_stretches(row)
        if row.kind == "hand":
            by_hand[row.site_id].add(row.id)
            hand_probes.add(row.probe_id)
        else:
            of_site[row.site_id].add(row.id)
    for site_id in by_hand.keys() - of_site.keys():  # a thermometer speaks for a site without any
        of_site[site_id] = by_hand[site_id]
    return _Probes(stretches, of_site, hand_probes)


def _find_loggers(which: Which) -> CompoundSelect[str]:
    """Return the loggers that may serve some blocks, and the stations among them."""
    at_site = select(logger.c.id).join(block, block.c.site_id == logger.c.site_id)
    declared = select(block_probe.c.logger_id).where(among(block_probe.c.block_id, which.blocks))
    stations = select(logger.c.id).where(among(logger.c.id, which.stations))
    return at_site.where(among(block.c.id, which.blocks)).union(declared, stations)


def _fetch_blocks(
    connection: Connection, probes: _Probes, ids: Collection[str] | None
) -> list[tuple[Block, bool]]:
    declared: dict[str, Basis] = defaultdict(lambda: defaultdict(set))
    for row in connection.execute(select(block_probe).where(_only(block_probe.c.block_id, ids))):
        declared[row.block_id][row.valid_from].add((row.logger_id, row.depth_cm))
    stations, thermometers = _fetch_stations(connection), _fetch_thermometers(connection)
    carries = select(block_carry).where(_only(block_carry.c.block_id, ids))
    carried = {row.block_id: row.diffusivity_mm2_s for row in connection.execute(carries)}
    borrowing = select(block_borrow).where(_only(block_borrow.c.block_id, ids))
    borrows = {row.block_id: row.borrows for row in connection.execute(borrowing)}
    query = (
        select(
            block,
            *_PLACE,
            func.coalesce(block.c.latitude, site.c.latitude).label("at_latitude"),
            func.coalesce(block.c.longitude, site.c.longitude).label("at_longitude"),
            (block.c.retired_at.is_(None) & site.c.retired_at.is_(None)).label("is_active"),
        )
        .join(site)
        .where(_only(block.c.id, ids))
        .order_by(site.c.name, block.c.name)
    )
    found = []
    for row in connection.execute(query):
        basis = declared[row.id]
        of_site = () if borrows.get(row.id) and not basis else probes.of_site.get(row.site_id, ())
        serving = find_serving(probes.stretches, of_site, basis)
        loggers_now = sorted(find_loggers_now(basis) or of_site)
        one = Block(
            id=row.id,
            name=row.name,
            site_id=row.site_id,
            site_name=row.site_name,
            utc_offset_min=row.utc_offset_min,
            south=row.south,
            latitude=row.at_latitude,
            longitude=row.at_longitude,
            elevation_m=row.elevation_m,
            root_zone_cm=(row.root_zone_top_cm, row.root_zone_bottom_cm),
            weights=row.weights,
            rule=row.rule,
            stretches=serving,
            beside=find_beside(probes.stretches, of_site, serving),
            ground=_ground(carried[row.id]) if row.id in carried else None,
            sources=tuple(_source(row, stations[one]) for one in loggers_now if one in stations),
            thermometers=tuple(thermometers[one] for one in loggers_now if one in thermometers),
            hand_probes=frozenset(
                stretch.probe_id for stretch in serving if stretch.probe_id in probes.by_hand
            ),
            district_id=row.district_id,
            borrows=borrows.get(row.id, True),
        )
        found.append((one, bool(row.is_active)))
    return found


def _fetch_stations_as_blocks(
    connection: Connection, probes: _Probes, ids: Collection[str] | None
) -> list[Block]:
    query = select(logger.c.id, *_PLACE, site.c.id.label("site_id"), site.c.latitude)
    query = query.add_columns(site.c.longitude).join(site)
    query = query.where(logger.c.kind == "station", _only(logger.c.id, ids))
    return [
        Block(
            id=row.id,
            name=row.site_name,
            site_id=row.site_id,
            site_name=row.site_name,
            utc_offset_min=row.utc_offset_min,
            south=row.south,
            latitude=row.latitude,
            longitude=row.longitude,
            elevation_m=row.elevation_m,
            root_zone_cm=(15.0, 45.0),
            weights="even",
            rule=GRAPE_PHYLLOXERA.name,
            stretches=tuple(probes.stretches.get(row.id, ())),
            beside=(),
            sources=(),
            ground=None,
            thermometers=(),
            hand_probes=frozenset(),
            district_id=row.district_id,
            borrows=False,
        )
        for row in connection.execute(query.order_by(logger.c.id))
    ]


def _fetch_stations(connection: Connection) -> dict[str, Any]:
    """Return where each station lies."""
    query = (
        select(logger.c.id, site.c.name, site.c.latitude, site.c.longitude, site.c.elevation_m)
        .join(site)
        .where(logger.c.kind == "station", logger.c.retired_at.is_(None))
    )
    return {row.id: row for row in connection.execute(query)}


def _ground(diffusivity_mm2_s: float | None) -> Ground:
    """Return the soil of a block, as it says or of no known kind."""
    if diffusivity_mm2_s is None:
        return TYPICAL_GROUND
    return Ground(diffusivity_mm2_s * 1e-6, KNOWN_FACTOR)


def _fetch_thermometers(connection: Connection) -> dict[str, str]:
    """Return what each thermometer is called."""
    query = select(logger.c.id, hand_thermometer.c.name).join(hand_thermometer)
    found = connection.execute(query.where(logger.c.retired_at.is_(None)))
    return {row.id: row.name for row in found}


def _source(of_block: Any, station: Any) -> StationSource:
    heights_m = station.elevation_m, of_block.elevation_m
    distance_km = find_distance_km(
        of_block.at_latitude, of_block.at_longitude, station.latitude, station.longitude
    )
    higher_m = None if None in heights_m else heights_m[0] - heights_m[1]
    return StationSource(station.name, distance_km, higher_m)


def _has_readings(probe_id: ColumnElement[int]) -> ColumnElement[bool]:
    """Return whether a probe has readings: one that has none, and is gone, has never served."""
    return select(reading.c.probe_id).where(reading.c.probe_id == probe_id).exists()
