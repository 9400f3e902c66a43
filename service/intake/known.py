"""What has come before: the same content again is the same delivery, and gets its report."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection

from probes.future_stamps import has_come
from service.intake.reports import COUNTS, FileReject, ImportReport
from service.store.imports import Batch, fetch_batches, fetch_rejects
from service.store.tables import import_batch


class WithdrawnError(Exception):
    """A content that was withdrawn: it comes in again only when its import is restored."""


@dataclass(frozen=True)
class Known:
    """An import that held the same content, and stands."""

    import_id: int
    imported_at: datetime
    report: ImportReport


def find_known(
    connection: Connection, logger_id: str, sha256: str, name: str, now: datetime
) -> Known | None:
    """Return the last import of a logger that held this content, its rejects under `name`.

    None where none did, or rows of it that lay in the future then no longer do: it is read anew.
    WithdrawnError where all that held it are withdrawn.
    """
    of_content = (import_batch.c.logger_id == logger_id, import_batch.c.sha256 == sha256)
    batches = fetch_batches(connection, *of_content)
    if not batches:
        return None
    standing = [batch for batch in batches if batch.withdrawn_at is None]
    if not standing:
        raise WithdrawnError(_describe(batches[-1]))
    batch = standing[-1]
    rejects = tuple(
        FileReject(name, one.line, one.reason, one.text)
        for one in fetch_rejects(connection, batch.id)
    )
    if any(has_come(one.reason, now) for one in rejects):
        return None
    counts = {count: getattr(batch, count) for count in COUNTS}
    return Known(
        batch.id,
        batch.imported_at,
        ImportReport(**counts, rejects=rejects, signs=tuple(batch.signs)),
    )


def _describe(batch: Batch) -> str:
    return (
        f"its content was import {batch.id} of {batch.imported_at:%Y-%m-%d %H:%M} UTC, which "
        f"{batch.withdrawn_by} withdrew: {batch.withdrawn_why}; "
        f"`digseason imports restore {batch.id}` takes that back"
    )
