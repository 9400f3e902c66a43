"""Which districts an advisory speaks of, and who decides on it: who sees all of their sites.

A coordinator of some districts drafts and decides on advisories of these; on those of the whole
region who sees all of it.
"""

from __future__ import annotations

from sqlalchemy import Connection, select

from service.reach import Reach
from service.store.advisories import Scope
from service.store.tables import site


def find_scope(connection: Connection, reach: Reach) -> Scope:
    """Return of what someone drafts an advisory: of the region, or of the districts they see."""
    if may_decide(connection, reach, None):
        return None
    return _find_districts(connection, reach)


def may_decide(connection: Connection, reach: Reach, scope: Scope) -> bool:
    """Return whether someone decides on an advisory: they see all sites that it is about."""
    sites = connection.execute(select(site.c.id, site.c.district_id))
    return all(
        site_id in reach.site_ids
        for site_id, district_id in sites
        if scope is None or district_id in scope
    )


def may_read(connection: Connection, reach: Reach, scope: Scope) -> bool:
    """Return whether someone reads an advisory: it speaks of all, or of a district they see."""
    return scope is None or bool(scope & _find_districts(connection, reach))


def _find_districts(connection: Connection, reach: Reach) -> frozenset[str]:
    sites = connection.execute(select(site.c.id, site.c.district_id))
    return frozenset(
        district_id for site_id, district_id in sites if district_id and site_id in reach.site_ids
    )
