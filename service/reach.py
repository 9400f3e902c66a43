"""What an account may see: which sites and blocks, and where they lie to the metre."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, Select, not_, or_, select

from service.store.accounts import Account
from service.store.tables import (
    account_district,
    account_site,
    block,
    recipient,
    recipient_block,
    site,
    site_sharing,
)

BLURRED_DEGREES = 0.1
"""About 10 km from north to south."""


@dataclass(frozen=True)
class Reach:
    """Ids of what may be seen; of others nothing is told, not even that they are there.

    own_site_ids : for which an account may speak: no block there is another's
    exact_site_ids : of which it may see where they lie; of the others only about
    """

    site_ids: frozenset[str]
    block_ids: frozenset[str]
    own_site_ids: frozenset[str]
    exact_site_ids: frozenset[str]

    def place(self, site_id: str, latitude: float, longitude: float) -> tuple[float, float]:
        """Return where something at a site lies, or about where."""
        if site_id in self.exact_site_ids:
            return latitude, longitude
        return _blur(latitude), _blur(longitude)


def find_reach(connection: Connection, account: Account) -> Reach:
    """Return what an account may see now.

    A grower sees the sites that are named as theirs, and the blocks that they are told of; a
    researcher the sites that are shared; a coordinator those of their districts, or all; an
    administrator all.
    """
    every = select(site.c.id)
    of_sites = select(block.c.id).join(site)
    exact = select(site_sharing.c.site_id).where(site_sharing.c.is_exact)
    if account.role == "administrator":
        ids = _ids(connection, every)
        return Reach(ids, _ids(connection, select(block.c.id)), ids, ids)
    if account.role == "researcher":
        shared = select(site_sharing.c.site_id)
        blocks = of_sites.where(site.c.id.in_(shared))
        sites = _ids(connection, shared)
        return Reach(sites, _ids(connection, blocks), frozenset(), _ids(connection, exact))
    if account.role == "coordinator":
        mine = select(account_district.c.district_id).where(
            account_district.c.account_id == account.id
        )
        if _ids(connection, mine):
            every = every.where(site.c.district_id.in_(mine))
            of_sites = of_sites.where(site.c.district_id.in_(mine))
        sites = _ids(connection, every)
        exactly = sites & _ids(connection, exact)
        return Reach(sites, _ids(connection, of_sites), frozenset(), exactly)
    named = select(account_site.c.site_id).where(account_site.c.account_id == account.id)
    mine = or_(block.c.id.in_(_told_of(account)), block.c.site_id.in_(named))
    blocks = _ids(connection, select(block.c.id).where(mine))
    own = _ids(connection, named)
    sites = own | _ids(connection, select(block.c.site_id).where(mine))
    with_others = _ids(connection, select(block.c.site_id).where(not_(mine)))
    return Reach(sites, blocks, own | (sites - with_others), sites)


def _told_of(account: Account) -> Select[str]:
    """Select the blocks of a grower who is told of blocks by name, or of all."""
    of_one = (recipient.c.name == account.recipient_name, recipient.c.role == "grower")
    return (
        select(block.c.id)
        .outerjoin(recipient_block, recipient_block.c.block_id == block.c.id)
        .join(
            recipient,
            recipient.c.all_blocks | (recipient_block.c.recipient_name == recipient.c.name),
        )
        .where(*of_one, recipient.c.retired_at.is_(None))
    )


def _ids(connection: Connection, query: Select[str]) -> frozenset[str]:
    return frozenset(connection.scalars(query).all())


def _blur(degrees: float) -> float:
    return round(round(degrees / BLURRED_DEGREES) * BLURRED_DEGREES, 1)
