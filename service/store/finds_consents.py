"""Where growers let the coordinator see what is found: nowhere, unless they say so."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, insert, select, update

from service.store.tables import finds_consent

_STANDS = finds_consent.c.taken_back_at.is_(None)


@dataclass(frozen=True)
class FindsConsent:
    """Who agreed, and when."""

    site_id: str
    agreed_at: datetime
    agreed_by: str


def fetch_finds_consents(connection: Connection) -> dict[str, FindsConsent]:
    """Return what stands, by site."""
    columns = [finds_consent.c[name] for name in FindsConsent.__dataclass_fields__]
    query = select(*columns).where(_STANDS)
    return {row.site_id: FindsConsent(*row) for row in connection.execute(query)}


def agree_to_finds(connection: Connection, site_id: str, by: str, now: datetime) -> bool:
    """Keep that the coordinator may see what is found at a site; return whether that is new."""
    if site_id in fetch_finds_consents(connection):
        return False
    row = {"site_id": site_id, "agreed_at": now, "agreed_by": by}
    connection.execute(insert(finds_consent).values(row))
    return True


def take_finds_back(connection: Connection, site_id: str, by: str, now: datetime) -> bool:
    """Keep that the coordinator may not any more; return whether they might."""
    of_site = update(finds_consent).where(finds_consent.c.site_id == site_id, _STANDS)
    return bool(connection.execute(of_site.values(taken_back_at=now, taken_back_by=by)).rowcount)
