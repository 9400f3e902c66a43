"""Readings into the store, whatever brought them: each reading once, its day computed again."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

import numpy as np
from sqlalchemy import Connection, insert

from probes.frames import LoggerFile
from service.intake.content import believe, correct_clock, pack_canonical
from service.intake.frozen import reject_frozen
from service.intake.keeping import Found, fetch_days, keep_findings
from service.intake.merging import Findings, compare_readings
from service.intake.reports import (
    CONFLICTS_TOLD,
    COUNTS,
    FileConflict,
    FileReject,
    ImportReport,
)
from service.intake.retelling import retell
from service.intake.signs import find_signs
from service.store.changes import count_change
from service.store.clocks import fetch_clock_corrections
from service.store.imports import (
    Content,
    fetch_batch,
    store_content,
    store_rejects,
    update_batch,
)
from service.store.loggers import Logger
from service.store.settlements import is_settled
from service.store.tables import import_batch
from service.store.tallies import tally_delivery

Progress = Callable[[float], None]
"""Told the share that is done, from 0 to 1."""

COMPARING_SHARE = 0.1  # of the time that putting into the store takes


@dataclass(frozen=True)
class Source:
    """What brought some readings: a file, a push, a feed, a hand; its name and its content's hash.

    content : of a logger's file; None: what is kept is the canonical form of the readings, whose
        clock is not corrected yet
    """

    kind: Literal["file", "push", "feed", "hand"]
    name: str
    sha256: str
    content: Content | None = None


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
    content = source.content
    if content is None:
        content = pack_canonical(file, fetch_clock_corrections(connection, logger.id))
        file = correct_clock(file, content.clock_corrections)
    signs = find_signs(connection, logger, source.kind, file, now)
    file = reject_frozen(believe(file, source.kind, now), logger, source.kind)
    report = ImportReport(
        rejected=sum(reject.readings for reject in file.rejects),
        missing=file.missing,
        rejects=tuple(
            FileReject(source.name, reject.line, reject.reason, reject.text)
            for reject in file.rejects
        ),
        others=file.others,
        signs=tuple(signs),
        notes=tuple(_describe_retired(logger)),
    )
    found = []
    for number, channel in enumerate(file.channels):
        probe = logger.probe(channel)
        is_reading = ~np.isnan(file.soil_temp_c[:, number])
        observed_at = file.observed_at[is_reading]
        stored = fetch_days(connection, logger, probe, observed_at)
        findings = compare_readings(observed_at, file.soil_temp_c[is_reading, number], stored)
        report += _report(source, channel, findings)
        shift = None if file.shift is None else file.shift[is_reading]
        suspect = None if file.suspect is None else file.suspect[is_reading, number]
        found.append(Found(probe, findings, shift, suspect))
        progress(COMPARING_SHARE * (number + 1) / len(file.channels))
    if not dry_run:
        batch_id = _open_batch(connection, logger, source, file, now)
        keep_findings(
            connection,
            logger,
            batch_id,
            found,
            lambda share: progress(COMPARING_SHARE + (1 - COMPARING_SHARE) * share),
        )
        store_content(connection, batch_id, content)
        counts = {name: getattr(report, name) for name in COUNTS}
        update_batch(connection, batch_id, **counts, signs=signs)
        tally_delivery(connection, logger.id, source.kind, counts)
        if report.inserted:
            count_change(connection, logger.id)
        if is_settled(connection, batch_id):
            report = replace(report, **_retell(connection, logger, batch_id))
    return report


def _describe_retired(logger: Logger) -> Iterator[str]:
    if logger.retired_at is not None:
        yield (
            f"{logger.id} was retired on {logger.retired_at:%Y-%m-%d}: "
            "what it measured counts up to that day"
        )


def _retell(connection: Connection, logger: Logger, batch_id: int) -> dict[str, int]:
    """Let a delivery meet what people have settled; return the counts that it then has."""
    batch = fetch_batch(connection, batch_id)
    if batch.first_at is not None and batch.last_at is not None:
        retell(connection, logger, batch.first_at, batch.last_at)
    batch = fetch_batch(connection, batch_id)
    return {name: getattr(batch, name) for name in COUNTS}


def _open_batch(
    connection: Connection, logger: Logger, source: Source, file: LoggerFile, now: datetime
) -> int:
    """Note the delivery and what was rejected; the counts follow."""
    batch = insert(import_batch).values(
        logger_id=logger.id,
        source=source.kind,
        file=Path(source.name).name,
        sha256=source.sha256,
        imported_at=now,
        **dict.fromkeys(COUNTS, 0),
        **find_ends(file),
    )
    batch_id = connection.execute(batch.returning(import_batch.c.id)).scalar_one()
    store_rejects(connection, batch_id, file.rejects)
    return batch_id


def find_ends(file: LoggerFile) -> dict[str, datetime]:
    """Return the first and the last time of a delivery that has rows."""
    if not file.observed_at.size:
        return {}
    ends = {"first_at": file.observed_at.min(), "last_at": file.observed_at.max()}
    return {name: end.item().replace(tzinfo=UTC) for name, end in ends.items()}


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
