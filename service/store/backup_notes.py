"""When the store was last backed up, as far as `digseason backup` did it."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime

from sqlalchemy import Connection, Engine, delete, insert, select

from service.store.busy import StoreBusyError
from service.store.engine import writing
from service.store.tables import backup_made

PATIENCE_S = 2


def note_backup(engine: Engine, now: datetime) -> None:
    """Keep that a backup was made, unless others write for long: it is one all the same."""
    hasty = engine.execution_options(digseason_patience_s=PATIENCE_S)
    with suppress(StoreBusyError), writing(hasty) as connection:
        connection.execute(delete(backup_made))
        connection.execute(insert(backup_made).values(id=1, made_at=now))


def fetch_last_backup_at(connection: Connection) -> datetime | None:
    """Return when the last one was made; None: none is known."""
    return connection.scalar(select(backup_made.c.made_at))
