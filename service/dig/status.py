"""From the store to how blocks stand by what digging showed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Protocol

import numpy as np
from sqlalchemy import Connection, select

from alerts.dig.records import DigRecord
from alerts.dig.status import USUAL, BlockStatus, Search, find_status
from service.evaluation import as_of_day
from service.reach import Reach
from service.store.accounts import Account
from service.store.among import among
from service.store.blocks import Block
from service.store.dig_records import fetch_dig_records
from service.store.finds_consents import fetch_finds_consents
from service.store.stands import fetch_stands
from service.store.tables import block
from service.store.vigour import fetch_measured, fetch_planting, fetch_vigour


class Dug(Protocol):
    """What of a block decides how its digs count."""

    @property
    def id(self) -> str: ...

    @property
    def south(self) -> bool: ...


def find_statuses(
    connection: Connection,
    blocks: Sequence[Dug],
    as_of: Mapping[str, date],
    search: Search = USUAL,
) -> dict[str, BlockStatus]:
    """Return how each block stands at the end of its own day."""
    records = group_records(connection, [one.id for one in blocks])
    vines = count_vines(connection, [one.id for one in blocks if one.id in records])
    return {
        one.id: find_status(
            records.get(one.id, ()), as_of[one.id], one.south, vines.get(one.id), search
        )
        for one in blocks
    }


def group_records(
    connection: Connection, block_ids: Collection[str]
) -> Mapping[str, list[DigRecord]]:
    """Return the records of blocks that have any, by block."""
    grouped: dict[str, list[DigRecord]] = defaultdict(list)
    for record in fetch_dig_records(connection, block_ids):
        grouped[record.block_id].append(record)
    return dict(grouped)


def count_vines(connection: Connection, block_ids: Collection[str]) -> dict[str, int | None]:
    """Return how many vines blocks have: as counted, or as were measured last; None: not known."""
    measured = fetch_measured(connection)
    return {
        block_id: stand.vines
        or (_count_measured(connection, block_id) if block_id in measured else None)
        for block_id, stand in fetch_stands(connection, block_ids).items()
    }


def find_told(connection: Connection, account: Account, reach: Reach) -> frozenset[str]:
    """Return the blocks of which an account may know what digging showed.

    Its own, or all; a coordinator knows of those whose growers have agreed to it, a researcher of
    none.
    """
    if account.role in ("grower", "administrator"):
        return reach.block_ids
    if account.role != "coordinator":
        return frozenset()
    agreed = among(block.c.site_id, fetch_finds_consents(connection))
    return reach.block_ids & frozenset(connection.scalars(select(block.c.id).where(agreed)))


def today_at(blocks: Sequence[Block], now: datetime) -> dict[str, date]:
    """Return the day that it is at each block, by id: what was dug today counts."""
    return {one.id: as_of_day(one, now) + timedelta(days=1) for one in blocks}


def _count_measured(connection: Connection, block_id: str) -> int | None:
    planting = fetch_planting(connection, block_id)
    kept = fetch_vigour(connection, block_id, planting) if planting else []
    if not kept:
        return None
    vigour = kept[0].vigour
    return int(np.isfinite(vigour.value).sum()) * vigour.rows_each * vigour.vines_each
