"""The consent of growers that others see their sites."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, delete, insert, select

from service.store.tables import site, site_sharing


@dataclass(frozen=True)
class Sharing:
    """Who agreed that a site is seen; `is_exact`: where it lies too, to the metre."""

    site_id: str
    is_exact: bool
    agreed_at: datetime
    agreed_by: str


def fetch_site_names(connection: Connection) -> dict[str, str]:
    """Return the names of all sites, by id."""
    rows = connection.execute(select(site.c.id, site.c.name))
    return {site_id: name for site_id, name in rows}  # noqa: C416 (rows are no pairs to pyright)


def fetch_sharing(connection: Connection) -> dict[str, Sharing]:
    """Return the sites that are shared, by id."""
    columns = [site_sharing.c[name] for name in Sharing.__dataclass_fields__]
    return {row.site_id: Sharing(*row) for row in connection.execute(select(*columns))}


def share(
    connection: Connection, site_id: str, is_exact: bool, agreed_by: str, now: datetime
) -> None:
    """Keep that a site is shared, and how."""
    withdraw(connection, site_id)
    row = {"site_id": site_id, "is_exact": is_exact, "agreed_at": now, "agreed_by": agreed_by}
    connection.execute(insert(site_sharing).values(row))


def withdraw(connection: Connection, site_id: str) -> bool:
    """Keep that a site is shared no more; return whether it was."""
    gone = connection.execute(delete(site_sharing).where(site_sharing.c.site_id == site_id))
    return bool(gone.rowcount)
