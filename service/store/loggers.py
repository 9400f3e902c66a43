"""A logger with all that reading and judging its files needs."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, select

from probes.hand_days import DayFromInstant
from service.store.among import among
from service.store.checks import SiteChecks, read_checks
from service.store.frozen import FrozenError, describe_frozen, fetch_frozen
from service.store.tables import (
    checks,
    hand_thermometer,
    layout,
    logger,
    probe,
    probe_stretch,
    site,
    station,
)

BY_HAND = {"interval_min": 1440.0}


@dataclass(frozen=True)
class LoggerPlace:
    """A logger and where it stands.

    kind : "files", "station" or "hand"
    """

    id: str
    kind: str
    site_id: str
    interval_min: float
    retired_at: datetime | None

    @property
    def takes_files(self) -> bool:
        """Whether its readings come in files, and it is in use."""
        return self.kind == "files" and self.retired_at is None


class UnknownLoggerError(LookupError):
    """There is no logger of that name."""


@dataclass(frozen=True)
class Stretch:
    """A time in which a probe lay at one depth: from a day on, until another or the next stretch.

    until : the first day on which it did not lie there any more; None: until the next stretch
    """

    valid_from: date
    depth_cm: float
    calibration_offset_c: float
    until: date | None = None


@dataclass(frozen=True)
class Probe:
    """One depth column of a logger, its stretches in order of time; none where it rests."""

    id: int
    channel: str
    stretches: tuple[Stretch, ...]


@dataclass(frozen=True)
class Logger:
    """A logger, its layout as the farm file has it, and what its site says of its readings.

    layout_name, layout_spec : empty where no files are read
    interval_min : between readings; a thermometer is read by hand, once a day or less
    by_hand : how a thermometer's readings become days; None: it is none
    frozen_before : before which day readings are kept as daily means only; None: all are kept
    """

    id: str
    layout_name: str
    layout_spec: Mapping[str, Any]
    interval_min: float
    utc_offset_min: int
    use_suspect: bool
    checks: SiteChecks
    probes: tuple[Probe, ...]
    retired_at: datetime | None = None
    by_hand: DayFromInstant | None = None
    frozen_before: date | None = None

    @property
    def frozen_until(self) -> datetime | None:
        """The instant up to which nothing of its readings and daily means changes any more."""
        return self.begin_of(self.frozen_before) if self.frozen_before else None

    def refuse_frozen(self, last_at: datetime | None, what: str) -> None:
        """Raise FrozenError where something that ends at an instant can change nothing more."""
        if self.frozen_before and self.frozen_until and last_at and last_at <= self.frozen_until:
            ends = f"{what} ends on {last_at:%Y-%m-%d}"
            raise FrozenError(f"{ends}, and {describe_frozen(self.frozen_before)}")

    def begin_of(self, day: date) -> datetime:
        """Return when a day begins at its site; a reading of that instant is of the day before."""
        return datetime.combine(day, time(), UTC) - timedelta(minutes=self.utc_offset_min)

    def probe(self, channel: str) -> Probe:
        """Return the probe of a column."""
        return next(probe for probe in self.probes if probe.channel == channel)


def fetch_file_logger_ids(connection: Connection) -> list[str]:
    """Return the active loggers whose files are read, in order."""
    query = select(logger.c.id).where(logger.c.kind == "files", logger.c.retired_at.is_(None))
    return list(connection.scalars(query.order_by(logger.c.id)))


def fetch_probes(
    connection: Connection, probe_ids: Collection[int]
) -> Iterator[tuple[Logger, Probe]]:
    """Yield probes, each with its logger."""
    query = select(probe.c.logger_id).where(among(probe.c.id, probe_ids)).distinct()
    for logger_id in connection.scalars(query.order_by(probe.c.logger_id)).all():
        found = fetch_logger(connection, logger_id)
        yield from ((found, one) for one in found.probes if one.id in probe_ids)


def fetch_logger_ids(connection: Connection, probe_ids: Collection[int]) -> dict[int, str]:
    """Return which logger each of some probes is of."""
    query = select(probe.c.id, probe.c.logger_id).where(among(probe.c.id, probe_ids))
    return {row.id: row.logger_id for row in connection.execute(query)}


def fetch_logger_places(connection: Connection, site_ids: Collection[str]) -> list[LoggerPlace]:
    """Return the loggers, stations and thermometers of some sites, the retired ones too, by id."""
    query = (
        select(logger, layout.c.spec, station.c.spec.label("station_spec"))
        .outerjoin(layout)
        .outerjoin(station)
        .where(among(logger.c.site_id, site_ids))
    )
    rows = (
        LoggerPlace(row.id, row.kind, row.site_id, _interval_min(row), row.retired_at)
        for row in connection.execute(query)
    )
    return sorted(rows, key=lambda one: one.id)


def fetch_probes_of(connection: Connection, logger_ids: Collection[str]) -> dict[str, list[Probe]]:
    """Return the probes of loggers, by its id."""
    query = (
        select(probe.c.logger_id, probe.c.id, probe.c.channel, probe_stretch)
        .outerjoin(probe_stretch)
        .where(among(probe.c.logger_id, logger_ids))
        .order_by(probe.c.logger_id, probe.c.id, probe_stretch.c.valid_from)
    )
    found: dict[str, list[Probe]] = {logger_id: [] for logger_id in logger_ids}
    rows = connection.execute(query)
    for (logger_id, probe_id, channel), of in groupby(
        rows, key=lambda row: (row.logger_id, row.id, row.channel)
    ):
        stretches = (
            Stretch(row.valid_from, row.depth_cm, row.calibration_offset_c, row.until)
            for row in of
            if row.valid_from is not None
        )
        found[logger_id].append(Probe(probe_id, channel, tuple(stretches)))
    return found


def fetch_logger(connection: Connection, logger_id: str, lock: bool = False) -> Logger:
    """Return a logger; with `lock` no one else imports into it before this transaction ends."""
    query = (
        select(
            logger,
            layout.c.spec,
            station.c.spec.label("station_spec"),
            hand_thermometer.c.hour_corrections_c,
            hand_thermometer.c.error_c,
            site.c.utc_offset_min,
            site.c.use_suspect,
            site.c.checks,
            checks.c.spec.label("checks_spec"),
        )
        .outerjoin(layout)
        .outerjoin(station)
        .outerjoin(hand_thermometer)
        .join(site, site.c.id == logger.c.site_id)
        .outerjoin(checks, checks.c.name == site.c.checks)
        .where(logger.c.id == logger_id)
    )
    if lock:  # SQLite has one writer anyway
        query = query.with_for_update(of=logger, key_share=True)
    found = connection.execute(query).one_or_none()
    if found is None:
        known = connection.scalars(
            select(logger.c.id).where(logger.c.retired_at.is_(None)).order_by(logger.c.id)
        ).all()
        there_are = f"there are: {', '.join(known)}" if known else "set up a farm file first"
        raise UnknownLoggerError(f"no logger '{logger_id}'; {there_are}")
    return Logger(
        id=found.id,
        layout_name=found.layout_name or "",
        layout_spec=found.spec or {},
        interval_min=_interval_min(found),
        utc_offset_min=found.utc_offset_min,
        use_suspect=found.use_suspect,
        checks=read_checks(found.checks, found.checks_spec),
        probes=tuple(fetch_probes_of(connection, [logger_id])[logger_id]),
        retired_at=found.retired_at,
        by_hand=_day_from_instant(found) if found.kind == "hand" else None,
        frozen_before=fetch_frozen(connection),  # once the lock is there: it was waited for
    )


def _interval_min(row: Any) -> float:
    return (row.spec or row.station_spec or BY_HAND)["interval_min"]


def _day_from_instant(row: Any) -> DayFromInstant:
    corrections_c = {
        float(depth_cm): {int(hour): add_c for hour, add_c in of_depth.items()}
        for depth_cm, of_depth in row.hour_corrections_c.items()
    }
    return DayFromInstant(corrections_c, row.error_c)
