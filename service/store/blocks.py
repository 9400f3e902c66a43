"""The active blocks with all that deciding about them needs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import nan
from typing import Any

from sqlalchemy import Connection, and_, func, select

from alerts.notices import StationSource
from alerts.root_zone import Weights
from service.geography import find_distance_km
from service.store.tables import block, block_probe, logger, probe, probe_stretch, site


@dataclass(frozen=True)
class Stretch:
    """A time in which a probe lay at one depth: from a day on, until the probe's next stretch.

    depth_cm is NaN where the block does not use the probe at that depth.
    """

    probe_id: int
    valid_from: date
    depth_cm: float


@dataclass(frozen=True)
class Block:
    """A block, its site's clock and hemisphere, and the stretches of the probes that serve it.

    sources : the stations among the loggers that serve it
    """

    id: str
    name: str
    site_id: str
    site_name: str
    utc_offset_min: int
    south: bool
    root_zone_cm: tuple[float, float]
    weights: Weights
    rule: str
    stretches: tuple[Stretch, ...]
    sources: tuple[StationSource, ...]


def fetch_blocks(connection: Connection, only: Collection[str] = ()) -> list[Block]:
    """Return the active blocks, all or those named, by site and name."""
    stretches: dict[str, list[Stretch]] = defaultdict(list)
    of_site: dict[str, set[str]] = defaultdict(set)
    for row in connection.execute(
        select(logger.c.site_id, logger.c.id, probe_stretch)
        .join(probe, probe.c.id == probe_stretch.c.probe_id)
        .join(logger, and_(logger.c.id == probe.c.logger_id, logger.c.retired_at.is_(None)))
        .order_by(probe_stretch.c.probe_id, probe_stretch.c.valid_from)
    ):
        stretches[row.id].append(Stretch(row.probe_id, row.valid_from, row.depth_cm))
        of_site[row.site_id].add(row.id)
    declared: dict[str, set[tuple[str, float]]] = defaultdict(set)
    for row in connection.execute(select(block_probe)):
        declared[row.block_id].add((row.logger_id, row.depth_cm))
    stations = _fetch_stations(connection)
    query = (
        select(
            block,
            site.c.name.label("site_name"),
            site.c.utc_offset_min,
            site.c.elevation_m,
            (site.c.latitude < 0).label("south"),
            func.coalesce(block.c.latitude, site.c.latitude).label("at_latitude"),
            func.coalesce(block.c.longitude, site.c.longitude).label("at_longitude"),
        )
        .join(site)
        .where(block.c.retired_at.is_(None), site.c.retired_at.is_(None))
        .order_by(site.c.name, block.c.name)
    )
    if only:
        query = query.where(block.c.id.in_(only))
    return [
        Block(
            id=row.id,
            name=row.name,
            site_id=row.site_id,
            site_name=row.site_name,
            utc_offset_min=row.utc_offset_min,
            south=row.south,
            root_zone_cm=(row.root_zone_top_cm, row.root_zone_bottom_cm),
            weights=row.weights,
            rule=row.rule,
            stretches=_serving(stretches, of_site[row.site_id], declared[row.id]),
            sources=tuple(
                _source(row, stations[logger_id])
                for logger_id in sorted(
                    {logger_id for logger_id, _ in declared[row.id]} or of_site[row.site_id]
                )
                if logger_id in stations
            ),
        )
        for row in connection.execute(query)
    ]


def _fetch_stations(connection: Connection) -> dict[str, Any]:
    """Return where each station lies."""
    query = (
        select(logger.c.id, site.c.name, site.c.latitude, site.c.longitude, site.c.elevation_m)
        .join(site)
        .where(logger.c.kind == "station")
    )
    return {row.id: row for row in connection.execute(query)}


def _source(of_block: Any, station: Any) -> StationSource:
    heights_m = station.elevation_m, of_block.elevation_m
    distance_km = find_distance_km(
        of_block.at_latitude, of_block.at_longitude, station.latitude, station.longitude
    )
    higher_m = None if None in heights_m else heights_m[0] - heights_m[1]
    return StationSource(station.name, distance_km, higher_m)


def _serving(
    stretches: Mapping[str, Sequence[Stretch]],
    of_site: Collection[str],
    declared: Collection[tuple[str, float]],
) -> tuple[Stretch, ...]:
    """Return the stretches of the probes a block uses: all of its site, or the declared ones."""
    loggers = {logger_id for logger_id, _ in declared} or of_site
    serving = [
        stretch
        if not declared or (logger_id, stretch.depth_cm) in declared
        else replace(stretch, depth_cm=nan)
        for logger_id in loggers
        for stretch in stretches[logger_id]
    ]
    return tuple(sorted(serving, key=lambda one: (one.probe_id, one.valid_from)))
