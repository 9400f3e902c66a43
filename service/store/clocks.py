"""What the store knows of a logger's clock and of the sun over it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, delete, insert, select

from probes.clock_corrections import ClockCorrection
from service.store.tables import clock_correction, logger, site


@dataclass(frozen=True)
class Place:
    """Where a site lies: the zone of the people there, and degrees east of Greenwich."""

    timezone: str
    longitude_deg: float


def fetch_place(connection: Connection, logger_id: str) -> Place:
    """Return where a logger stands."""
    query = select(site.c.timezone, site.c.longitude).join(logger).where(logger.c.id == logger_id)
    return Place(*connection.execute(query).one())


def fetch_site_places(connection: Connection) -> dict[str, Place]:
    """Return where each site in use lies, by its id."""
    query = (
        select(site.c.id, site.c.timezone, site.c.longitude)
        .where(site.c.retired_at.is_(None))
        .order_by(site.c.id)
    )
    return {site_id: Place(*row) for site_id, *row in connection.execute(query)}


def fetch_utc_offset_min(connection: Connection, site_id: str) -> int:
    """Return how much later than UTC the standard time of a site is. [min]"""
    query = select(site.c.utc_offset_min).where(site.c.id == site_id)
    return connection.execute(query).scalar_one()


def fetch_clock_corrections(connection: Connection, logger_id: str) -> tuple[ClockCorrection, ...]:
    """Return the corrections of a logger's clock, in order of time."""
    query = (
        select(
            clock_correction.c.stamped_from,
            clock_correction.c.stamped_until,
            clock_correction.c.add_s,
        )
        .where(clock_correction.c.logger_id == logger_id)
        .order_by(clock_correction.c.stamped_from)
    )
    return tuple(ClockCorrection(*row) for row in connection.execute(query))


def replace_clock_corrections(
    connection: Connection, logger_id: str, corrections: Sequence[ClockCorrection]
) -> None:
    """Keep these corrections of a logger's clock, and no others."""
    of_logger = clock_correction.c.logger_id == logger_id
    connection.execute(delete(clock_correction).where(of_logger))
    for one in corrections:
        connection.execute(insert(clock_correction).values(logger_id=logger_id, **vars(one)))
