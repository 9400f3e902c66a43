"""When the store was last backed up, as far as `digseason backup` did it."""

from __future__ import annotations

import os
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, Engine, delete, insert, select

from service.store.busy import StoreBusyError
from service.store.engine import writing
from service.store.tables import backup_made

PATIENCE_S = 2


@dataclass(frozen=True)
class Backup:
    """When a backup was made, and where it was written to; None: that is not known."""

    made_at: datetime
    path: Path | None


def note_backup(engine: Engine, path: Path, now: datetime) -> None:
    """Keep that a backup was made, unless others write for long: it is one all the same."""
    hasty = engine.execution_options(digseason_patience_s=PATIENCE_S)
    with suppress(StoreBusyError), writing(hasty) as connection:
        connection.execute(delete(backup_made))
        written = os.fsencode(path.resolve()).decode("utf-8", "replace")
        connection.execute(insert(backup_made).values(id=1, made_at=now, path=written))


def fetch_last_backup(connection: Connection) -> Backup | None:
    """Return the last one; None: none is known."""
    row = connection.execute(select(backup_made.c.made_at, backup_made.c.path)).one_or_none()
    return Backup(row.made_at, Path(row.path) if row.path else None) if row else None
