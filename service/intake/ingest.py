"""Readings into the store, whatever brought them: each reading once, its day computed again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, insert, update

from probes.frames import LoggerFile, Readings
from service.daily_means import find_days, find_probe_means
from service.intake.merging import Findings, compare_readings, merge_readings
from service.intake.reports import (
    CONFLICTS_TOLD,
    COUNTS,
    FileConflict,
    FileReject,
    ImportReport,
)
from service.store.bulk import execute_many
from service.store.daily import store_daily_means
from service.store.loggers import Logger, Probe
from service.store.readings import fetch_readings, insert_readings, list_conflicts
from service.store.tables import import_batch, import_reject

Progress = Callable[[float], None]
"""Told the share that is done, from 0 to 1."""


@dataclass(frozen=True)
class Source:
    """What brought some readings: a file, a push, a feed, a hand; its name and its content."""

    kind: Literal["file", "push", "feed", "hand"]
    name: str
    sha256: str


def ingest(
    connection: Connection,
    logger: Logger,
    source: Source,
    file: LoggerFile,
    now: datetime,
    dry_run: bool = False,
    progress: Progress = lambda _: None,
) -> ImportReport:
    """Put the readings of one delivery into the store; with `dry_run` only say what it would do.

    The caller holds the write transaction, and the lock on the logger.
    """
    report = ImportReport(
        rejected=sum(reject.readings for reject in file.rejects),
        missing=file.missing,
        rejects=tuple(
            FileReject(source.name, reject.line, reject.reason, reject.text)
            for reject in file.rejects
        ),
        others=file.others,
    )
    batch_id = 0 if dry_run else _open_batch(connection, logger, source, file, now)
    for number, channel in enumerate(file.channels):
        probe = logger.probe(channel)
        is_reading = ~np.isnan(file.soil_temp_c[:, number])
        observed_at = file.observed_at[is_reading]
        stored = _fetch_days(connection, logger, probe, observed_at)
        findings = compare_readings(observed_at, file.soil_temp_c[is_reading, number], stored)
        report += _report(source, channel, findings)
        if not dry_run:
            _keep(connection, logger, probe, batch_id, stored, findings)
        progress((number + 1) / len(file.channels))
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
    connection: Connection, logger: Logger, source: Source, file: LoggerFile, now: datetime
) -> int:
    """Note the delivery and what was rejected; the counts follow."""
    counts = dict.fromkeys(COUNTS, 0)
    batch = insert(import_batch).values(
        logger_id=logger.id,
        source=source.kind,
        file=Path(source.name).name,
        sha256=source.sha256,
        imported_at=now,
        **counts,
    )
    batch_id = connection.execute(batch.returning(import_batch.c.id)).scalar_one()
    rejects = ({"import_id": batch_id, **vars(reject)} for reject in file.rejects)
    execute_many(connection, insert(import_reject), rejects)
    return batch_id


def _close_batch(connection: Connection, batch_id: int, report: ImportReport) -> None:
    counts = {name: getattr(report, name) for name in COUNTS}
    batch = update(import_batch).where(import_batch.c.id == batch_id)
    connection.execute(batch.values(counts))


def _report(source: Source, channel: str, findings: Findings) -> ImportReport:
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
            FileConflict(source.name, channel, observed_at.replace(tzinfo=UTC), kept_c, other_c)
            for observed_at, kept_c, other_c in conflicts
        ),
    )
