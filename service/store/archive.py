"""What the store holds of a probe, in full and in order of time, for archives."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from sqlalchemy import Connection, and_, func, select

from service.store.bulk import Columns, fetch_columns
from service.store.tables import daily_error, daily_mean, logger, reading, shifted_stamp, site


@dataclass(frozen=True)
class ArchiveSite:
    """A site, in use or retired, with all loggers that ever stood there."""

    id: str
    name: str
    timezone: str
    utc_offset_min: int
    latitude: float
    longitude: float
    elevation_m: float | None
    checks: str
    use_suspect: bool
    logger_ids: tuple[str, ...]


def fetch_archive_sites(connection: Connection) -> list[ArchiveSite]:
    """Return every site there ever was, in order."""
    loggers: dict[str, list[str]] = {}
    for site_id, logger_id in connection.execute(
        select(logger.c.site_id, logger.c.id).order_by(logger.c.id)
    ):
        loggers.setdefault(site_id, []).append(logger_id)
    columns = [site.c[name] for name in list(ArchiveSite.__dataclass_fields__)[:-1]]
    rows = connection.execute(select(*columns).order_by(site.c.id))
    found = [ArchiveSite(*row, logger_ids=tuple(loggers.get(row.id, ()))) for row in rows]
    return sorted(found, key=lambda one: one.id)  # PostgreSQL may order by its locale


def iterate_pages(
    connection: Connection, probe_id: int, after: datetime, until: datetime, rows: int
) -> Iterator[Columns]:
    """Yield a probe's readings later than one instant, up to another, so many rows at a time.

    observed_at, soil_temp_c, flag and import_id; stamped_at : observed_at where the clock was right
    """
    at = reading.c.observed_at
    stamped_at = func.coalesce(shifted_stamp.c.stamped_at, at).label("stamped_at")
    of_same = and_(
        shifted_stamp.c.probe_id == reading.c.probe_id, shifted_stamp.c.observed_at == at
    )
    while True:
        query = (
            select(at, reading.c.soil_temp_c, reading.c.flag, reading.c.import_id, stamped_at)
            .outerjoin(shifted_stamp, of_same)
            .where(reading.c.probe_id == probe_id, at > after, at <= until)
            .order_by(at)
            .limit(rows)
        )
        page = fetch_columns(connection, query)
        size = page["flag"].size
        if size:
            yield page
        if size < rows:
            return
        after = page["observed_at"][-1].item().replace(tzinfo=UTC)


def fetch_end_days(connection: Connection, probe_ids: Sequence[int]) -> list[date]:
    """Return the first and the last day of probes that has a daily mean, none where none has."""
    of_probes = daily_mean.c.probe_id.in_(probe_ids)
    ends = select(func.min(daily_mean.c.day), func.max(daily_mean.c.day)).where(of_probes)
    return [day for day in connection.execute(ends).one() if day is not None]


def fetch_days(connection: Connection, probe_id: int, first: date, last: date) -> Columns:
    """Return a probe's daily means from one day to another, with the error of days read by hand."""
    of_same = and_(
        daily_error.c.probe_id == daily_mean.c.probe_id, daily_error.c.day == daily_mean.c.day
    )
    columns = [column for column in daily_mean.c if column.name != "probe_id"]
    query = (
        select(*columns, daily_error.c.error_c)
        .outerjoin(daily_error, of_same)
        .where(daily_mean.c.probe_id == probe_id, daily_mean.c.day.between(first, last))
        .order_by(daily_mean.c.day)
    )
    return fetch_columns(connection, query)
