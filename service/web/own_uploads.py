"""Files of a visitor's loggers that are seen before they are kept: put aside, stated, kept."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from http import HTTPStatus
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

import numpy as np
from sqlalchemy import Connection, Engine

from probes.frames import LoggerFile
from probes.logger_files import FileRefused
from probes.proposing.clocks import Place
from probes.proposing.proposal import Proposal
from probes.proposing.propose import propose_layout
from service.intake.files import import_file, ingest_file, read_file, told_name
from service.intake.known import Known, WithdrawnError, find_known
from service.intake.new_loggers import add_logger, read_by_layout
from service.intake.reports import FileReject, ImportReport
from service.store.clocks import fetch_site_places
from service.store.engine import reading, writing
from service.store.imports import fetch_latest_batches
from service.store.loggers import fetch_logger_places
from service.store.uploads import Upload, add_upload, drop_upload, find_upload, state_layout
from service.web.access import Visitor
from service.web.problems import Problem

MOST_BYTES = 30_000_000
ROWS_SHOWN, LONGEST_NAME_BYTES = 8, 150


class SentFile(NamedTuple):
    """A file as it is sent: of a logger, or of one that is not there yet at a site."""

    logger_id: str | None
    site_id: str | None
    name: str
    body: bytes


class Seen(NamedTuple):
    """What a file holds, and what keeping it would do.

    known : the import that held the very same
    """

    file: LoggerFile
    report: ImportReport
    known: Known | None


@dataclass(frozen=True)
class Look:
    """What is seen of a file before it is kept.

    seen : None where it is not read: `refused` says why, or its layout is still to be stated
    proposal : of a new logger's layout, or of one that would read the file where its own does not
    """

    seen: Seen | None
    proposal: Proposal | None
    refused: str


def put_aside(connection: Connection, sent: SentFile, who: Visitor, now: datetime) -> int | None:
    """Put a file aside, to be looked at; return its number. None: what it is of is not theirs."""
    own = who.reach.own_site_ids
    site_id, logger_id = sent.site_id, None
    if sent.logger_id is not None:
        places = fetch_logger_places(connection, own)
        site_of = {one.id: one.site_id for one in places if one.takes_files}
        site_id, logger_id = site_of.get(sent.logger_id), sent.logger_id
    if site_id is None or site_id not in own:
        return None
    name = _name_file(sent.name)
    return add_upload(connection, who.account.id, site_id, logger_id, name, sent.body, now)


def find_aside(connection: Connection, number: int, who: Visitor) -> Upload:
    """Return a file that the visitor has put aside, or refuse it."""
    one = find_upload(connection, number, who.account.id)
    if one is None or one.site_id not in who.reach.own_site_ids:
        said = "this file is put aside no longer; it is kept as an import, or send it again"
        raise Problem(HTTPStatus.NOT_FOUND, said)
    return one


def look_at(engine: Engine, one: Upload, now: datetime) -> Look:
    """Return what keeping a file would do, or the layout that is proposed for it."""
    with reading(engine) as connection:
        place = fetch_site_places(connection)[one.site_id]
    seen, proposal, refused = None, None, ""
    with _laid_out(one) as path:
        try:
            seen = _read(engine, one, path, now)
        except (WithdrawnError, FileRefused) as error:
            refused = _why(error, one)
        if one.is_new or seen is None:
            at = Place(one.site_id, place.timezone, place.longitude_deg)
            try:
                proposal = propose_layout(path, now, [at])
            except FileRefused as error:
                refused = _why(error, one)
    return Look(seen, proposal, refused)


def state_reading(
    connection: Connection, one: Upload, name: str, layout: Mapping[str, Any], now: datetime
) -> None:
    """Keep how a file of a logger that is not there yet is to be read, once there could be one so.

    `layout` is checked. FarmFileError.
    """
    with connection.begin_nested() as trial:
        add_logger(connection, name, one.site_id, layout, now)
        trial.rollback()
    state_layout(connection, one.id, name, layout)


def keep_aside(engine: Engine, number: int, who: Visitor, now: datetime) -> int:
    """Keep a file, and its logger where that is not there yet; return the number of the import.

    FarmFileError, FileRefused, WithdrawnError.
    """
    with writing(engine) as connection:
        one = find_aside(connection, number, who)
        if one.logger_id is None:
            said = "say first how this file is read: the name of its logger, and its layout"
            raise Problem(HTTPStatus.CONFLICT, said)
        if one.layout is not None:
            add_logger(connection, one.logger_id, one.site_id, one.layout, now)
            state_layout(connection, number, one.logger_id, None)
            who.note(connection, "added a logger", one.logger_id, now)
    with _laid_out(one) as path:
        import_file(engine, one.logger_id, path, now)
    with writing(engine) as connection:
        drop_upload(connection, number)
        (batch,) = fetch_latest_batches(connection, [one.site_id], 1, one.logger_id)
        who.note(connection, "imported a file", f"{batch.id} of {one.logger_id}", now)
    return batch.id


def _name_file(file: str) -> str:
    """Return the name of a file without the folders that some browsers tell."""
    name = told_name(Path(re.split(r"[/\\]", file)[-1].lstrip(".") or "file"))
    return name.encode()[-LONGEST_NAME_BYTES:].decode("utf-8", "ignore")


@contextmanager
def _laid_out(one: Upload) -> Iterator[Path]:
    """Give a file in a folder of its own."""
    with TemporaryDirectory() as folder:
        path = Path(folder, one.file)
        path.write_bytes(one.body)
        yield path


def _why(error: Exception, one: Upload) -> str:
    return str(error).removeprefix(f"{one.file}: ")


def _read(engine: Engine, one: Upload, path: Path, now: datetime) -> Seen | None:
    """Return what keeping a file would do; None where its logger has no layout yet.

    FileRefused, WithdrawnError.
    """
    if one.logger_id is None:
        return None
    if one.layout is not None:
        file = read_by_layout(path, one.logger_id, one.layout, now)
        return Seen(file, _count(file, path.name), None)
    source, file = read_file(engine, one.logger_id, path, now)
    with reading(engine) as connection:
        known = find_known(connection, one.logger_id, source.sha256, path.name, now)
    return Seen(file, ingest_file(engine, one.logger_id, source, file, now, dry_run=True), known)


def _count(file: LoggerFile, name: str) -> ImportReport:
    """Return what a file holds, of which the store holds nothing."""
    return ImportReport(
        inserted=int(np.isfinite(file.soil_temp_c).sum()),
        rejected=sum(one.readings for one in file.rejects),
        missing=file.missing,
        rejects=tuple(FileReject(name, one.line, one.reason, one.text) for one in file.rejects),
        others=file.others,
    )
