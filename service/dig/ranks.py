"""From the store to the order in which messages list blocks."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from sqlalchemy import Connection, select

from alerts.news import Rank
from service.store.finds_consents import fetch_finds_consents
from service.store.recipients import Recipient
from service.store.tables import block, dig_record, recipient, site


class DugBlock(NamedTuple):
    """A block in which someone has dug."""

    id: str
    site_id: str
    south: bool


@dataclass(frozen=True)
class Ranking:
    """Ranks blocks for readers, with what all of them need fetched once.

    agreed : the sites whose growers let coordinators see what is found
    """

    connection: Connection
    dug: Mapping[str, DugBlock]
    roles: Mapping[str, str]
    agreed: Collection[str]

    def rank(self, reader: Recipient, block_ids: Collection[str], as_of: date) -> dict[str, Rank]:
        """Return where blocks stand in the order in which to go to them, by id.

        Only those in which someone has dug, and of which the reader may know it: a grower of those
        they are told of, a coordinator where the grower agreed.
        """
        role = self.roles.get(reader.name)
        known = [
            one
            for block_id in block_ids
            if (one := self.dug.get(block_id))
            and (role == "grower" or (role == "coordinator" and one.site_id in self.agreed))
        ]
        if not known:
            return {}
        from alerts.dig.order import rank_status  # they import scipy, which few rounds need
        from service.dig.status import find_statuses

        statuses = find_statuses(self.connection, known, dict.fromkeys(block_ids, as_of))
        return {block_id: rank_status(status) for block_id, status in statuses.items()}


def start_ranking(connection: Connection) -> Ranking:
    """Return what ranks blocks."""
    query = select(block.c.id, block.c.site_id, site.c.latitude < 0).join(site)
    dug = query.where(block.c.id.in_(select(dig_record.c.block_id)))
    roles = select(recipient.c.name, recipient.c.role)
    return Ranking(
        connection,
        {row[0]: DugBlock(*row) for row in connection.execute(dug)},
        {row.name: row.role for row in connection.execute(roles)},
        fetch_finds_consents(connection).keys(),
    )
