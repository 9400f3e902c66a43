"""From the store to the order in which a message lists blocks."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date

from sqlalchemy import Connection, exists, select

from alerts.news import Rank
from service.store.among import among
from service.store.finds_consents import fetch_finds_consents
from service.store.recipients import Recipient
from service.store.tables import dig_record, recipient


def rank_blocks(
    connection: Connection, reader: Recipient, block_ids: Collection[str], as_of: date
) -> dict[str, Rank]:
    """Return where blocks stand in the order in which to go to them, by id, for who may know it.

    Growers may, of the blocks they are told of; coordinators where the grower agreed.
    Empty where nothing was dug: what works an order out is imported only then.
    """
    if not connection.scalar(select(exists().where(among(dig_record.c.block_id, block_ids)))):
        return {}
    from alerts.dig.order import rank_status
    from service.dig_status import find_statuses
    from service.store.blocks import fetch_blocks

    role = connection.scalar(select(recipient.c.role).where(recipient.c.name == reader.name))
    agreed = fetch_finds_consents(connection) if role == "coordinator" else {}
    blocks = [
        one
        for one in fetch_blocks(connection, block_ids)
        if role == "grower" or one.site_id in agreed
    ]
    statuses = find_statuses(connection, blocks, dict.fromkeys(block_ids, as_of))
    return {block_id: rank_status(status) for block_id, status in statuses.items()}
