"""Logger files into the store: each file in one transaction, each reading once."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Engine, insert, update

from probes.frames import LoggerFile, Readings
from probes.logger_files import read_logger_file
from service.daily_means import find_days, find_probe_means
from service.farm.layouts import layout_from_spec
from service.merging import Findings, compare_readings, merge_readings
from service.store.bulk import execute_many
from service.store.daily import store_daily_means
from service.store.engine import reading, writing
from service.store.loggers import Logger, Probe, fetch_logger
from service.store.readings import fetch_readings, insert_readings, list_conflicts
from service.store.tables import import_batch, import_reject

Progress = Callable[[float], None]
"""Told the share that is done, from 0 to 1."""

COUNTS = ("inserted", "identical", "conflicting", "rejected", "missing")
READING_SHARE = 0.3  # of the time an import takes
CONFLICTS_TOLD = 20


@dataclass(frozen=True)
class FileReject:
    """What was not read and why; a line of None: the whole file."""

    file: str
    line: int | None
    reason: str
    text: str


@dataclass(frozen=True)
class FileConflict:
    """A value that was met for an instant at which another one is kept."""

    file: str
    channel: str
    observed_at: datetime
    kept_c: float
    other_c: float


@dataclass(frozen=True)
class ImportReport:
    """What became of the readings of one or more files; the five counts add up to all of them.

    conflicts : the first few of each probe and file; the table `conflict` holds all
    """

    inserted: int = 0
    identical: int = 0
    conflicting: int = 0
    rejected: int = 0
    missing: int = 0
    rejects: tuple[FileReject, ...] = ()
    conflicts: tuple[FileConflict, ...] = ()

    def __add__(self, other: ImportReport) -> ImportReport:
        """Return one report of both."""
        pairs = zip(vars(self).values(), vars(other).values(), strict=True)
        return ImportReport(*(mine + theirs for mine, theirs in pairs))


def import_file(
    engine: Engine,
    logger_id: str,
    path: Path,
    now: datetime,
    dry_run: bool = False,
    progress: Progress = lambda _: None,
) -> ImportReport:
    """Import one logger file, all of it or nothing; with `dry_run` only say what it would do."""
    with reading(engine) as connection:
        logger = fetch_logger(connection, logger_id)
    size = max(1, path.stat().st_size)
    file = read_logger_file(
        path,
        layout_from_spec(logger.layout_name, logger.layout_spec),
        lambda done: progress(READING_SHARE * done / size),
    )
    report = ImportReport(
        rejected=sum(reject.readings for reject in file.rejects),
        missing=file.missing,
        rejects=tuple(
            FileReject(str(path), reject.line, reject.reason, reject.text)
            for reject in file.rejects
        ),
    )
    with (reading if dry_run else writing)(engine) as connection:
        # Read again: it may have changed, and no one else may import into it now.
        logger = fetch_logger(connection, logger_id, lock=not dry_run)
        batch_id = 0 if dry_run else _open_batch(connection, logger, path, file, now)
        for number, channel in enumerate(file.channels):
            probe = logger.probe(channel)
            is_reading = ~np.isnan(file.soil_temp_c[:, number])
            observed_at = file.observed_at[is_reading]
            stored = _fetch_days(connection, logger, probe, observed_at)
            findings = compare_readings(observed_at, file.soil_temp_c[is_reading, number], stored)
            report += _report(path, channel, findings)
            if not dry_run:
                _keep(connection, logger, probe, batch_id, stored, findings)
            progress(READING_SHARE + (1 - READING_SHARE) * (number + 1) / len(file.channels))
        if not dry_run:
            _close_batch(connection, batch_id, report)
    return report


def _fetch_days(
    connection: Connection, logger: Logger, probe: Probe, observed_at: NDArray[np.datetime64]
) -> Readings:
    """Return what the store holds of a probe over the days of a file, those days whole."""
    if not observed_at.size:
        return Readings(observed_at, np.empty(0), np.empty(0, np.int8))
    days = find_days(np.array([observed_at.min(), observed_at.max()]), logger.utc_offset_min)
    first, last = (
        datetime.combine(day, time(), UTC) - timedelta(minutes=logger.utc_offset_min)
        for day in days.tolist()
    )
    return fetch_readings(connection, probe.id, after=first, until=last + timedelta(days=1))


def _keep(
    connection: Connection,
    logger: Logger,
    probe: Probe,
    batch_id: int,
    stored: Readings,
    findings: Findings,
) -> None:
    """Put what is new into the store, and compute the days it touches again."""
    insert_readings(connection, probe.id, batch_id, findings.new)
    list_conflicts(connection, probe.id, batch_id, findings.other_at, findings.other_c)
    days = np.unique(find_days(findings.new.observed_at, logger.utc_offset_min))
    readings = merge_readings(stored, findings.new)
    touched = np.isin(find_days(readings.observed_at, logger.utc_offset_min), days)
    means = find_probe_means(logger, probe, readings.where(touched))
    store_daily_means(connection, probe.id, days, means)


def _open_batch(
    connection: Connection, logger: Logger, path: Path, file: LoggerFile, now: datetime
) -> int:
    """Note the import and what was rejected; the counts follow."""
    with path.open("rb") as content:
        sha256 = hashlib.file_digest(content, "sha256").hexdigest()
    counts = dict.fromkeys(COUNTS, 0)
    batch = insert(import_batch).values(
        logger_id=logger.id, file=path.name, sha256=sha256, imported_at=now, **counts
    )
    batch_id = connection.execute(batch.returning(import_batch.c.id)).scalar_one()
    rejects = ({"import_id": batch_id, **vars(reject)} for reject in file.rejects)
    execute_many(connection, insert(import_reject), rejects)
    return batch_id


def _close_batch(connection: Connection, batch_id: int, report: ImportReport) -> None:
    counts = {name: getattr(report, name) for name in COUNTS}
    batch = update(import_batch).where(import_batch.c.id == batch_id)
    connection.execute(batch.values(counts))


def _report(path: Path, channel: str, findings: Findings) -> ImportReport:
    first = slice(CONFLICTS_TOLD)
    conflicts = zip(
        findings.other_at[first].tolist(),
        findings.kept_c[first].tolist(),
        findings.other_c[first].tolist(),
        strict=True,
    )
    return ImportReport(
        inserted=findings.new.observed_at.size,
        identical=findings.identical,
        conflicting=findings.other_at.size,
        conflicts=tuple(
            FileConflict(str(path), channel, observed_at.replace(tzinfo=UTC), kept_c, other_c)
            for observed_at, kept_c, other_c in conflicts
        ),
    )
