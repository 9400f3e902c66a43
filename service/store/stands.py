"""What blocks are planted with, as the farm file says."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import Connection, select

from service.store.among import among
from service.store.tables import block, block_vines


@dataclass(frozen=True)
class Stand:
    """What a block is planted with; None: it is not said.

    planted : the year
    roots : "own roots", or the kind of rootstock, in the words of the farm file
    vines : how many
    """

    planted: int | None
    roots: str | None
    vines: int | None


def fetch_stands(connection: Connection, block_ids: Collection[str]) -> dict[str, Stand]:
    """Return what blocks are planted with, by id."""
    query = select(block.c.id, block.c.planted, block.c.rootstock, block_vines.c.vines).outerjoin(
        block_vines
    )
    rows = connection.execute(query.where(among(block.c.id, block_ids)))
    return {row.id: Stand(row.planted, row.rootstock, row.vines) for row in rows}
