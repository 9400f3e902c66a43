"""What lies in the data folder, and a backup, is for its owner alone, whatever the umask says."""

from __future__ import annotations

import os
import sqlite3
import stat
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner
from sqlalchemy import Engine
from sqlalchemy.exc import IntegrityError, OperationalError

from service.backups import NoBackupError, restore_backup
from service.channels.files import FileChannel
from service.cli import main
from service.links import Links
from service.settings import Settings
from service.store.engine import open_engine, reading, writing
from tests.outbox_messages import AT, make_text
from tests.planted import plant_recipient


@pytest.fixture
def generous() -> Iterator[None]:
    """A umask that keeps nothing from anyone."""
    before = os.umask(0)
    yield
    os.umask(before)


def open_to_others(path: Path) -> dict[str, str]:
    """Return what others may do with a folder and all within, by name."""
    modes = {one: one.stat().st_mode for one in (path, *path.rglob("*"))}
    return {
        one.name: stat.filemode(mode)
        for one, mode in modes.items()
        if mode & (stat.S_IRWXG | stat.S_IRWXO)
    }


@pytest.mark.usefixtures("generous")
def test_store_key_messages_and_backup_are_for_their_owner_alone(tmp_path: Path) -> None:
    data, backup = tmp_path / "data", tmp_path / "backup.db"
    command = ["--data", str(data), "backup", str(backup)]
    assert CliRunner().invoke(main, command).exit_code == 0
    settings = Settings(data=data)
    Links(settings).write_account(1, 0, AT)
    FileChannel(settings.outbox).send(make_text())
    engine = open_engine(settings.store_url)
    with writing(engine):  # with the files of its write-ahead log
        assert {one.name for one in data.iterdir()} == {
            *("digseason.db", "digseason.db-shm", "digseason.db-wal"),
            *("link.key", "outbox"),
        }
        assert open_to_others(data) == {}
    engine.dispose()
    assert stat.filemode(backup.stat().st_mode) == "-rw-------"


def test_a_backup_from_a_stranger_runs_nothing_but_what_reads_it(tmp_path: Path) -> None:
    # source: [SQLITE-SECURITY]
    engine = open_engine(f"sqlite:///{tmp_path / 'digseason.db'}")
    with writing(engine) as connection:
        connection.exec_driver_sql("create view reading as select file from pragma_database_list")
    with pytest.raises(OperationalError, match="unsafe use"), reading(engine) as connection:
        connection.exec_driver_sql("select * from reading")
    engine.dispose()


def test_nothing_that_a_file_says_is_run_while_it_is_looked_at(tmp_path: Path) -> None:
    # source: [SQLITE-SECURITY]
    path = tmp_path / "hostile.db"
    with closing(sqlite3.connect(path)) as connection:
        files = "select file as version_num from pragma_database_list"
        connection.execute(f"create view alembic_version as {files}")
    engine = open_engine(f"sqlite:///{tmp_path / 'digseason.db'}")
    with pytest.raises(NoBackupError, match="unsafe use of virtual table"):
        restore_backup(path, engine, tmp_path, AT)
    engine.dispose()


def test_an_error_of_the_store_holds_nothing_of_what_was_to_be_kept(engine: Engine) -> None:
    with writing(engine) as connection:
        plant_recipient(connection, "Ada Example")
    with pytest.raises(IntegrityError) as raised, writing(engine) as connection:
        plant_recipient(connection, "Ada Example")
    assert "ada@example.org" not in str(raised.value)
