"""From the store to how many vines of a block are to be dug by lot, and which."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from secrets import randbelow

from sqlalchemy import Connection

from alerts.dig.how_many import HowMany, find_how_many
from alerts.dig.lot import MOST_SEED
from alerts.dig.patches import Vine, find_vines
from alerts.dig.sampling import Design
from alerts.dig.status import BlockStatus, Search, Standing
from alerts.season import season_of
from service.dig.status import count_vines, find_statuses
from service.store.blocks import Block
from service.store.vigour import fetch_planting, fetch_vigour


@dataclass(frozen=True)
class BlockLot:
    """What is known of a block for a draw by lot.

    vines : how many it has; None: not known
    places : those that are known by row and number
    how_many : None where `vines` is
    """

    status: BlockStatus
    vines: int | None
    places: frozenset[Vine]
    how_many: HowMany | None

    @property
    def is_settled(self) -> bool:
        """Whether there is a find or a suspicion: digs without one have nothing more to say."""
        return self.status.standing in (Standing.FOUND, Standing.SUSPECTED)

    def find_by_lot(self, season: int) -> dict[int, int]:
        """Return the vines dug by lot without a find, by season, up to one."""
        return {one: count for one, count in self.status.by_lot.items() if one <= season}


def find_lot(
    connection: Connection,
    block: Block,
    as_of: date,
    search: Search,
    confidence: float,
    vines: int | None = None,
) -> BlockLot:
    """Return how many vines of a block to dig by lot in the season of a day.

    Digs by lot of its records count, all seasons faded by the chance of introduction; `vines`: how
    many it has, where that is not to be asked of the store.
    """
    status = find_statuses(connection, [block], {block.id: as_of}, search)[block.id]
    vines = vines or count_vines(connection, [block.id])[block.id]
    places = find_places(connection, block.id)
    if vines is None:
        return BlockLot(status, None, places, None)
    vines = max([vines, *status.by_lot.values()])
    design = Design(vines, search.prevalence, search.sensitivity)
    season = season_of(as_of, block.south)
    how_many = find_how_many(design, confidence, status.by_lot, season, search.introduction)
    return BlockLot(status, vines, places, how_many)


def find_places(connection: Connection, block_id: str) -> frozenset[Vine]:
    """Return the vines of a block that had a value when its vigour was measured last."""
    planting = fetch_planting(connection, block_id)
    kept = fetch_vigour(connection, block_id, planting) if planting else []
    if not kept:
        return frozenset()
    vigour = kept[0].vigour
    return find_vines(vigour, vigour.is_known)


def choose_seed() -> int:
    """Return a seed that nobody has chosen."""
    return randbelow(MOST_SEED + 1)
