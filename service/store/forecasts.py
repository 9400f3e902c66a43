"""Forecasts of the air at sites: which sites have one, how fetching went, what was forecast."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, delete, insert, select, update

from service.store.among import among
from service.store.fetch_state import FetchState
from service.store.tables import air_forecast, site, site_forecast


@dataclass(frozen=True)
class ForecastRow(FetchState):
    """A site whose air is forecast, and how fetching that goes; `spec` is its key `forecast`."""

    site_id: str
    site_name: str
    latitude: float
    longitude: float
    utc_offset_min: int


def fetch_forecast_sites(connection: Connection) -> list[ForecastRow]:
    """Return the active sites that have a forecast."""
    names = "latitude", "longitude", "utc_offset_min"
    query = (
        select(site_forecast, site.c.name.label("site_name"), *(site.c[name] for name in names))
        .join(site)
        .where(site.c.retired_at.is_(None))
        .order_by(site_forecast.c.site_id)
    )
    return [ForecastRow(**row) for row in connection.execute(query).mappings()]


def claim_forecast(connection: Connection, one: ForecastRow, now: datetime) -> bool:
    """Note that a forecast is being fetched; False where another process has begun meanwhile."""
    before = site_forecast.c.attempted_at.is_not_distinct_from(one.attempted_at)
    of_site = site_forecast.c.site_id == one.site_id
    claimed = connection.execute(
        update(site_forecast).where(of_site, before).values(attempted_at=now)
    )
    return claimed.rowcount == 1


def store_forecast(
    connection: Connection,
    one: ForecastRow,
    issued_on: date,
    air_c: Mapping[date, float],
    now: datetime,
) -> None:
    """Keep what was forecast on a day; what was forecast on that day before is replaced."""
    of_day = air_forecast.c.site_id == one.site_id, air_forecast.c.issued_on == issued_on
    connection.execute(delete(air_forecast).where(*of_day))
    rows = [
        {"site_id": one.site_id, "issued_on": issued_on, "day": day, "air_c": value}
        for day, value in air_c.items()
    ]
    connection.execute(insert(air_forecast), rows)
    _note(connection, one, attempted_at=now, fetched_at=now, failing_since=None, failure=None)


def note_forecast_failure(
    connection: Connection, one: ForecastRow, now: datetime, failure: str
) -> None:
    """Note that a fetch failed, and since when fetches fail."""
    since = one.failing_since or now
    _note(connection, one, attempted_at=now, failing_since=since, failure=failure)


def _note(connection: Connection, one: ForecastRow, **values: Any) -> None:
    of_site = site_forecast.c.site_id == one.site_id
    connection.execute(update(site_forecast).where(of_site).values(values))


def fetch_air(
    connection: Connection, site_ids: Collection[str], as_of: date
) -> dict[str, dict[date, tuple[date, float]]]:
    """Return by site, of each day, its latest forecast of those issued before it and by `as_of`.

    Day of issue and mean [degC]. A site that is no longer forecast keeps what was.
    """
    columns = (air_forecast.c[name] for name in ("site_id", "day", "issued_on", "air_c"))
    query = (
        select(*columns)
        .where(
            among(air_forecast.c.site_id, site_ids),
            air_forecast.c.issued_on <= as_of,
            air_forecast.c.issued_on < air_forecast.c.day,
        )
        .order_by(air_forecast.c.issued_on)
    )
    found: dict[str, dict[date, tuple[date, float]]] = {}
    for row in connection.execute(query):
        found.setdefault(row.site_id, {})[row.day] = row.issued_on, row.air_c
    return found
