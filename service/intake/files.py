"""Logger files into the store: each file in one transaction."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from pathlib import Path

from sqlalchemy import Engine

from probes.frames import LoggerFile
from probes.logger_files import FileRefused, read_logger_file
from service.farm.layouts import layout_from_spec
from service.intake.content import pack_file
from service.intake.ingest import Progress, Source, ingest
from service.intake.known import find_known
from service.intake.reports import ImportReport
from service.store.clocks import fetch_clock_corrections
from service.store.engine import reading, writing
from service.store.imports import Content
from service.store.loggers import UnknownLoggerError, fetch_logger

READING_SHARE = 0.3  # of the time an import takes


def told_name(path: Path) -> str:
    """Return the name of a file as a line of text that every database takes."""
    name = os.fsencode(path.name).decode("utf-8", "replace")
    return "".join(
        letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in name
    )


def import_file(
    engine: Engine,
    logger_id: str,
    path: Path,
    now: datetime,
    dry_run: bool = False,
    progress: Progress = lambda _: None,
) -> ImportReport:
    """Import one logger file, all of it or nothing; with `dry_run` only say what it would do.

    FileRefused where it cannot be read, WithdrawnError where its content was withdrawn.
    """
    source, file = read_file(engine, logger_id, path, now, progress)
    return ingest_file(engine, logger_id, source, file, now, dry_run, progress)


def read_file(
    engine: Engine,
    logger_id: str,
    path: Path,
    now: datetime,
    progress: Progress = lambda _: None,
) -> tuple[Source, LoggerFile]:
    """Return what a file of a logger holds, and what is kept of it; FileRefused."""
    with reading(engine) as connection:
        logger = fetch_logger(connection, logger_id)
        corrections = fetch_clock_corrections(connection, logger_id)
    if not logger.layout_name:
        raise UnknownLoggerError(f"'{logger_id}' has no layout: its readings come in no files")
    stat = path.stat()
    size = max(1, stat.st_size)
    with ThreadPoolExecutor(1) as beside:  # zlib lets go of the interpreter
        packing = beside.submit(pack_file, path)
        file = read_logger_file(
            path,
            layout_from_spec(logger.layout_name, logger.layout_spec),
            lambda done: progress(READING_SHARE * done / size),
            logger_id=logger_id,
            latest_year=now.year + 1,
            clock_corrections=corrections,
        )
        sha256, body = packing.result()
    if (path.stat().st_size, path.stat().st_mtime_ns) != (stat.st_size, stat.st_mtime_ns):
        raise FileRefused(f"{path.name}: it was written to while it was read; import it again")
    name = str(path.with_name(told_name(path)))
    return Source("file", name, sha256, Content(body, logger.layout_spec, corrections)), file


def ingest_file(
    engine: Engine,
    logger_id: str,
    source: Source,
    file: LoggerFile,
    now: datetime,
    dry_run: bool = False,
    progress: Progress = lambda _: None,
) -> ImportReport:
    """Put into the store what was read of a file, or only say what that would do.

    WithdrawnError where its content was withdrawn.
    """
    with (reading if dry_run else writing)(engine) as connection:
        # Read again: it may have changed, and no one else may import into it now.
        logger = fetch_logger(connection, logger_id, lock=not dry_run)
        find_known(connection, logger_id, source.sha256, Path(source.name).name, now)
        return ingest(
            connection,
            logger,
            source,
            file,
            now,
            dry_run,
            lambda share: progress(READING_SHARE + (1 - READING_SHARE) * share),
        )
