"""What has come before: the same content again gets the report of the first time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, select

from service.intake.reports import COUNTS, FileReject, ImportReport
from service.store.tables import import_batch, import_reject


@dataclass(frozen=True)
class Known:
    """An import that held the same content.

    withdrawn_why : None where it still counts
    """

    import_id: int
    imported_at: datetime
    report: ImportReport
    withdrawn_why: str | None


def find_known(connection: Connection, logger_id: str, sha256: str, name: str) -> Known | None:
    """Return the last import of a logger that held this content, its rejects under `name`."""
    row = connection.execute(
        select(import_batch)
        .where(import_batch.c.logger_id == logger_id, import_batch.c.sha256 == sha256)
        .order_by(import_batch.c.id.desc())
        .limit(1)
    ).one_or_none()
    if row is None:
        return None
    rejects = connection.execute(
        select(import_reject.c.line, import_reject.c.reason, import_reject.c.text)
        .where(import_reject.c.import_id == row.id)
        .order_by(import_reject.c.id)
    )
    counts = {count: getattr(row, count) for count in COUNTS}
    report = ImportReport(**counts, rejects=tuple(FileReject(name, *reject) for reject in rejects))
    why = (row.withdrawn_why or "no reason given") if row.withdrawn_at else None
    return Known(row.id, row.imported_at, report, why)
