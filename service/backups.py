"""A store in one file, and back: a SQLite store, whichever database the service runs on."""

from __future__ import annotations

import errno
import os
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from datetime import datetime, timedelta
from pathlib import Path
from shutil import copyfile, rmtree
from tempfile import TemporaryDirectory

from sqlalchemy import Engine, delete
from sqlalchemy.exc import DBAPIError

from service.store.busy import is_full
from service.store.copying import Comparison, Progress, copy_store
from service.store.engine import open_engine, reading, writing
from service.store.holds import hold_sending
from service.store.rounds import fetch_last_kept_at
from service.store.schema import upgrade
from service.store.tables import alarm, round_lease

NAME = "digseason-%Y-%m-%dT%H%M%SZ.db"
_NAMED = re.compile(r"digseason-\d{4}-\d\d-\d\dT\d{6}Z\.db")
_BROKEN_OFF = re.compile(rf"{_NAMED.pattern}\.part(-\w+)?")
STALE = timedelta(hours=6)
"""A backup that no one has written to for so long was broken off."""
UNPACKED = "restoring-"


class NoBackupError(ValueError):
    """A file is no backup, or a damaged one."""


def write_backup(engine: Engine, path: Path, progress: Progress = lambda _: None) -> None:
    """Write what the store holds at one moment to a new file: all of it, or no file is there.

    The service may go on meanwhile. The file holds addresses of people: only its owner may read it.
    Raises FileExistsError, and OSError with what the file system or either database says.
    """
    partial = path.with_name(f"{path.name}.part")
    partial.unlink(missing_ok=True)
    partial.touch(mode=0o600, exist_ok=False)
    try:
        with _telling_of_room():
            if engine.dialect.name == "sqlite":
                with closing(engine.raw_connection()) as connection:
                    connection.cursor().execute("vacuum into ?", (str(partial),))
            else:
                with _opened(partial) as copy, reading(engine) as connection:
                    upgrade(copy)
                    copy_store(connection, copy, progress)
        _check(partial)
        with partial.open("rb") as file:
            os.fsync(file.fileno())
        os.link(partial, path)  # refuses where another has come meanwhile
    finally:
        for log in ("", "-wal", "-shm"):
            partial.with_name(f"{partial.name}{log}").unlink(missing_ok=True)


def clear_broken_off(folder: Path, now: datetime) -> None:
    """Delete what backups that `NAME` names and that were killed have left in their folder."""
    for path in filter(lambda path: _BROKEN_OFF.fullmatch(path.name), folder.iterdir()):
        with suppress(FileNotFoundError):  # it is whole now
            if now.timestamp() - path.stat().st_mtime > STALE.total_seconds():
                path.unlink()


def prune_backups(newest: Path, kept: int) -> list[Path]:
    """Delete all but the newest that `NAME` names beside one; return what went, oldest first.

    What a clock that was ahead has named by a later time stays until that has come.
    """
    named = [path for path in newest.parent.iterdir() if _NAMED.fullmatch(path.name)]
    gone = sorted(path for path in named if path.name <= newest.name)[:-kept]
    for path in gone:
        path.unlink()
    return gone


def restore_backup(
    path: Path, engine: Engine, folder: Path, now: datetime, progress: Progress = lambda _: None
) -> list[Comparison]:
    """Put a backup into an empty store; an older one is brought up to date on the way.

    In the meantime `folder` holds a copy of it. Raises NoBackupError, StoreTooNewError, and OSError
    with what the file system or either database says.

    Sending is held back from the first row on: the store does not know of what was told after the
    backup, nor of who has stopped since.
    """
    _check(path)
    with _telling_of_room(), TemporaryDirectory(dir=folder, prefix=UNPACKED) as unpacked:
        copy = Path(unpacked, "backup.db")  # the backup stays as it is
        copyfile(path, copy)
        with _opened(copy) as source:
            upgrade(source)
            with writing(source) as connection:
                for table in (round_lease, alarm):  # of a process that ran elsewhere
                    connection.execute(delete(table))
                last_at = fetch_last_kept_at(connection)
            last = f", whose last news is of {last_at:%Y-%m-%d %H:%M} UTC" if last_at else ""
            for store in (engine, source):  # before what waits comes, and to stay when all is there
                with writing(store) as connection:
                    hold_sending(connection, f"restored from {path.name}{last}", now)
            with reading(source) as connection:
                return copy_store(connection, engine, progress)


def clear_unpacked(folder: Path) -> None:
    """Delete what restores that were killed have left in a folder."""
    for left in folder.glob(f"{UNPACKED}*"):
        rmtree(left)


@contextmanager
def _opened(path: Path) -> Iterator[Engine]:
    engine = open_engine(f"sqlite:///{path}")
    try:
        yield engine
    finally:
        engine.dispose()  # which empties the write-ahead log into the file


@contextmanager
def _telling_of_room() -> Iterator[None]:
    """Let a database that has no room for more say so as the file system does."""
    try:
        yield
    except (sqlite3.OperationalError, DBAPIError) as error:
        said = error.orig if isinstance(error, DBAPIError) else error
        if is_full(said):
            raise OSError(errno.ENOSPC, f"{said}") from None
        raise


def _check(path: Path) -> None:
    """Raise where a file is not a whole store."""
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?immutable=1", uri=True)) as connection:
        connection.execute("pragma trusted_schema = off")
        try:
            found = connection.execute("pragma integrity_check(1)").fetchone()[0]
            connection.execute("select version_num from alembic_version")
        except sqlite3.DatabaseError as error:
            raise NoBackupError(f"{path.name} is no backup of Digseason: {error}") from None
    if found != "ok":
        raise NoBackupError(f"{path.name} is damaged: {found}; take an earlier backup")
