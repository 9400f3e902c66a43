"""The active sites."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import Connection, select

from service.store.among import among
from service.store.tables import site


@dataclass(frozen=True)
class Site:
    """A farm or station location; `utc_offset_min` is of its standard time, all year."""

    id: str
    name: str
    district_id: str | None
    timezone: str
    utc_offset_min: int
    latitude: float
    longitude: float
    elevation_m: float | None


def fetch_sites(connection: Connection, only: Collection[str]) -> list[Site]:
    """Return those of the sites named that are active, by id."""
    columns = [site.c[name] for name in Site.__dataclass_fields__]
    query = select(*columns).where(among(site.c.id, only), site.c.retired_at.is_(None))
    return sorted((Site(*row) for row in connection.execute(query)), key=lambda one: one.id)
