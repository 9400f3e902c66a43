"""The active blocks with all that deciding about them needs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import date
from math import nan

from sqlalchemy import Connection, and_, select

from alerts.root_zone import Weights
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
    """A block, its site's clock and hemisphere, and the stretches of the probes that serve it."""

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


def fetch_blocks(connection: Connection, only: Collection[str] = ()) -> list[Block]:
    """Return the active blocks, all or those named, by site and name."""
    stretches: dict[str, list[tuple[str, Stretch]]] = defaultdict(list)
    for row in connection.execute(
        select(logger.c.site_id, logger.c.id, probe_stretch)
        .join(probe, probe.c.id == probe_stretch.c.probe_id)
        .join(logger, and_(logger.c.id == probe.c.logger_id, logger.c.retired_at.is_(None)))
        .order_by(probe_stretch.c.probe_id, probe_stretch.c.valid_from)
    ):
        stretch = Stretch(row.probe_id, row.valid_from, row.depth_cm)
        stretches[row.site_id].append((row.id, stretch))
    declared: dict[str, set[tuple[str, float]]] = defaultdict(set)
    for row in connection.execute(select(block_probe)):
        declared[row.block_id].add((row.logger_id, row.depth_cm))
    query = (
        select(
            block,
            site.c.name.label("site_name"),
            site.c.utc_offset_min,
            (site.c.latitude < 0).label("south"),
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
            stretches=_serving(stretches[row.site_id], declared[row.id]),
        )
        for row in connection.execute(query)
    ]


def _serving(
    of_site: list[tuple[str, Stretch]], declared: set[tuple[str, float]]
) -> tuple[Stretch, ...]:
    """Return the stretches of the probes a block uses: all of its site, or the declared ones."""
    if not declared:
        return tuple(stretch for _, stretch in of_site)
    return tuple(
        stretch if (logger_id, stretch.depth_cm) in declared else replace(stretch, depth_cm=nan)
        for logger_id, stretch in of_site
        if any(logger_id == other for other, _ in declared)
    )
