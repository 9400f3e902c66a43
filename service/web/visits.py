"""In which order a visitor goes to the blocks whose digging they know of."""

from __future__ import annotations

from datetime import UTC, datetime

from sqlalchemy import Connection

from alerts.dig.order import Visit
from service.dig.order import Place, order_visits
from service.dig.status import find_statuses, today_at
from service.store.blocks import Block
from service.web.access import Visitor
from service.web.seen_blocks import find_told_blocks


def find_visits(
    connection: Connection, who: Visitor, start: Place | None
) -> tuple[list[Block], int, list[Visit]]:
    """Return the blocks, how many are left out of those that are seen, and their order.

    Where a place is not exact the way to it is not either.
    """
    blocks, left_out = find_told_blocks(connection, who)
    statuses = find_statuses(connection, blocks, today_at(blocks, datetime.now(UTC)))
    at = {one.id: who.reach.place(one.site_id, one.latitude, one.longitude) for one in blocks}
    return blocks, left_out, order_visits(blocks, statuses, start, places=at)
