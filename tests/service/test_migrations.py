"""The migrations make the tables that the code uses, once, whoever comes at the same time."""

from __future__ import annotations

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import Column, Engine, Integer, MetaData, Table, exc, inspect, text

from service.store.engine import open_engine, reading, writing
from service.store.schema import StoreTooNewError, find_revision, upgrade
from service.store.tables import metadata
from tests.stores import NEWEST, migrate_to, rows_of

UPGRADE = """
import sys
from service.store.engine import open_engine
from service.store.schema import upgrade
upgrade(open_engine(sys.argv[1]))
print("alembic" in sys.modules)
"""


def start_upgrade(url: str) -> subprocess.Popen[str]:
    """Start a process that upgrades a store and prints whether it needed alembic."""
    return subprocess.Popen(  # noqa: S603 (our own arguments)
        [sys.executable, "-c", UPGRADE, url],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def tables_of(engine: Engine) -> set[str]:
    """Return the names of the tables in a store."""
    return set(inspect(engine).get_table_names())


def test_metadata_and_migrations_agree(engine: Engine) -> None:
    with reading(engine) as connection:
        # partitions are made as readings come
        opts = {"include_name": lambda name, _, __: not str(name).startswith("reading_")}
        context = MigrationContext.configure(connection, opts=opts)
        assert compare_metadata(context, metadata) == []


def test_a_new_sqlite_file_is_what_the_migrations_write(tmp_path: Path) -> None:
    # keys, constraint names and WITHOUT ROWID are not among what alembic compares
    migrated = open_engine(f"sqlite:///{tmp_path / 'migrated.db'}")
    created = open_engine(f"sqlite:///{tmp_path / 'created.db'}")
    migrate_to(migrated, "head")
    upgrade(created)
    statement = text("select sql from sqlite_master")
    with reading(migrated) as one, reading(created) as other:
        assert set(one.scalars(statement)) == set(other.scalars(statement))
    assert rows_of(migrated) == rows_of(created)
    with reading(migrated) as one, reading(created) as other:
        assert find_revision(one) == find_revision(other)
    migrated.dispose()
    created.dispose()


def test_four_processes_that_upgrade_at_once_all_succeed(empty_url: str) -> None:
    processes = [start_upgrade(empty_url) for _ in range(4)]
    outputs = [process.communicate(timeout=60)[0] for process in processes]
    assert [process.returncode for process in processes] == [0] * 4, outputs


def test_who_opens_a_new_file_at_once_waits_for_the_others(tmp_path: Path) -> None:
    def open_it(number: int) -> None:
        engine = open_engine(f"sqlite:///{tmp_path / f'{number // 8}.db'}")
        with reading(engine) as connection:
            assert connection.execute(text("pragma journal_mode")).scalar_one() == "wal"
        engine.dispose()

    with ThreadPoolExecutor(8) as pool:  # of 2,400 that did not wait 56 failed
        assert len(list(pool.map(open_it, range(240)))) == 240


def test_an_up_to_date_store_opens_without_importing_alembic(store_url: str) -> None:
    assert start_upgrade(store_url).communicate(timeout=60)[0] == "False\n"


def test_a_store_of_a_newer_version_is_refused_with_what_to_do(empty_url: str) -> None:
    engine = open_engine(empty_url)
    upgrade(engine)
    with writing(engine) as connection:
        connection.execute(text("update alembic_version set version_num = '9999'"))
    with pytest.raises(StoreTooNewError, match=r"schema 9999.*install"):
        upgrade(engine)
    engine.dispose()


def test_a_migration_that_fails_half_way_leaves_nothing(empty_url: str) -> None:
    engine = open_engine(empty_url)
    in_the_way = Table("round", MetaData(), Column("id", Integer))
    with writing(engine) as connection:
        in_the_way.create(connection)
    with pytest.raises(exc.DBAPIError):
        upgrade(engine)
    assert tables_of(engine) == {"round"}
    with writing(engine) as connection:
        in_the_way.drop(connection)
    upgrade(engine)
    with reading(engine) as connection:
        assert find_revision(connection) == NEWEST
    engine.dispose()
