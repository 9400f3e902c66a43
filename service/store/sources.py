"""What readings come from, loggers and stations, and how they have come so far."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import Connection, ScalarSelect, func, select

from alerts.silence import USUAL_OF, Delivery
from probes.frames import FAIL
from service.store.among import among
from service.store.imports import stands
from service.store.tables import (
    import_batch,
    logger,
    logger_silence,
    probe,
    probe_stretch,
    reading,
    site,
    site_for_study,
    site_silence,
)

USABLE = reading.c.flag != FAIL


@dataclass(frozen=True)
class Ends:
    """The newest usable reading of a probe in the ground, and its newest of any flag."""

    newest_at: datetime
    newest_of_any_at: datetime


@dataclass(frozen=True)
class SourceRow:
    """An active logger or station; of its probes those that ever gave a usable reading.

    silent_factor : how many times its usual interval it may be late; None: as for all
    """

    id: str
    is_station: bool
    site_id: str
    site_name: str
    utc_offset_min: int
    study_only: bool
    silent_factor: float | None
    probes: dict[int, Ends] = field(default_factory=dict)


def fetch_sources(connection: Connection) -> list[SourceRow]:
    """Return the active loggers and stations, in order."""
    later = probe_stretch.alias()
    follows = (later.c.probe_id == probe_stretch.c.probe_id) & (
        later.c.valid_from > probe_stretch.c.valid_from
    )
    in_ground = select(probe_stretch.c.probe_id).where(
        probe_stretch.c.probe_id == probe.c.id,
        probe_stretch.c.until.is_(None),
        ~select(later.c.probe_id).where(follows).exists(),
    )
    query = (
        select(
            logger.c.id,
            (logger.c.kind == "station").label("is_station"),
            logger.c.site_id,
            site.c.name.label("site_name"),
            site.c.utc_offset_min,
            site_for_study.c.site_id.is_not(None).label("study_only"),
            func.coalesce(logger_silence.c.silent_factor, site_silence.c.silent_factor).label(
                "silent_factor"
            ),
            probe.c.id.label("probe_id"),
            _newest(usable=True).label("newest_at"),
            _newest(usable=False).label("newest_of_any_at"),
        )
        .join(site, site.c.id == logger.c.site_id)
        .outerjoin(logger_silence, logger_silence.c.logger_id == logger.c.id)
        .outerjoin(site_for_study, site_for_study.c.site_id == site.c.id)
        .outerjoin(site_silence, site_silence.c.site_id == site.c.id)
        .outerjoin(probe, (probe.c.logger_id == logger.c.id) & in_ground.exists())
        .where(logger.c.retired_at.is_(None), logger.c.kind != "hand")
        .order_by(logger.c.id, probe.c.id)
    )
    sources: dict[str, SourceRow] = {}
    for row in connection.execute(query):
        source = sources.setdefault(
            row.id,
            SourceRow(
                *(row.id, row.is_station, row.site_id, row.site_name),
                *(row.utc_offset_min, row.study_only, row.silent_factor),
            ),
        )
        if row.newest_at is not None:
            source.probes[row.probe_id] = Ends(row.newest_at, row.newest_of_any_at)
    return list(sources.values())


def _newest(usable: bool) -> ScalarSelect[datetime]:
    """Return the newest reading of a probe, found from the end of the table's key."""
    query = select(reading.c.observed_at).where(reading.c.probe_id == probe.c.id)
    if usable:
        query = query.where(USABLE)
    last = query.order_by(reading.c.observed_at.desc()).limit(1)
    return last.correlate(probe).scalar_subquery()


def fetch_last_readings(connection: Connection, logger_ids: Collection[str]) -> dict[str, datetime]:
    """Return the newest usable reading of each logger that has one."""
    query = select(probe.c.logger_id, _newest(usable=True).label("newest_at"))
    found: dict[str, datetime] = {}
    for row in connection.execute(query.where(among(probe.c.logger_id, logger_ids))):
        if row.newest_at is not None:
            found[row.logger_id] = max(row.newest_at, found.get(row.logger_id, row.newest_at))
    return found


def fetch_last_instants(connection: Connection, probe_id: int) -> list[datetime]:
    """Return the instants of a probe's last usable readings, in order, enough to say what is
    usual."""
    query = (
        select(reading.c.observed_at)
        .where(reading.c.probe_id == probe_id, USABLE)
        .order_by(reading.c.observed_at.desc())
        .limit(USUAL_OF + 1)
    )
    return list(connection.scalars(query))[::-1]


def fetch_deliveries(connection: Connection, logger_id: str, most: int) -> list[Delivery]:
    """Return the last deliveries of a logger that stand, in order of arrival."""
    query = (
        select(import_batch.c.imported_at, import_batch.c.last_at, import_batch.c.source == "file")
        .where(stands(logger_id), import_batch.c.last_at.is_not(None))
        .order_by(import_batch.c.id.desc())
        .limit(most)
    )
    return [Delivery(*row) for row in connection.execute(query)][::-1]


def find_first_arrival(connection: Connection, logger_id: str) -> datetime | None:
    """Return when the first delivery of a logger that stands arrived."""
    query = select(func.min(import_batch.c.imported_at)).where(stands(logger_id))
    return connection.scalar(query)
