"""Fixtures that every room's tests share: a store on either database, never in memory."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy comes; tests share the cores

import pytest
from sqlalchemy import Connection, Engine, event

import tests.laws  # noqa: F401 (its profiles)
from service.store.engine import open_engine
from service.store.schema import upgrade
from tests.pg import Cluster, cluster

DATABASES = ("sqlite", "postgresql")

os.environ.setdefault("DIGSEASON_MAIL_CHARTS", "0")  # drawing takes a second; some tests ask for it


@event.listens_for(Engine, "engine_connect")
def let_the_disk_lag(connection: Connection) -> None:
    """Wait for no disk, as the PostgreSQL of the tests: nothing of a store outlives them."""
    if connection.dialect.name == "sqlite":
        connection.connection.cursor().execute("pragma synchronous = off")


@pytest.hookimpl(tryfirst=True)  # before marks are asked for
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Leave to the long run on PostgreSQL what by day is tested on SQLite."""
    for item in items:
        callspec = getattr(item, "callspec", None)
        if (
            callspec
            and callspec.params.get("store_url") == "postgresql"
            and item.get_closest_marker("sqlite_by_day")
            and not item.get_closest_marker("both_by_day")
        ):
            item.add_marker(pytest.mark.long)


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite file that holds the empty tables."""
    path = tmp_path_factory.mktemp("template") / "digseason.db"
    engine = open_engine(f"sqlite:///{path}")
    upgrade(engine)
    engine.dispose()
    return path


@pytest.fixture(scope="session")
def postgres() -> Iterator[Cluster]:
    """A running PostgreSQL; fails with what to do where there is none."""
    with cluster() as running:
        yield running


@pytest.fixture(scope="session")
def postgres_store(postgres: Cluster) -> Iterator[str]:
    """The name of a PostgreSQL database that holds the tables."""
    with postgres.database() as name:
        engine = open_engine(postgres.url(name))
        upgrade(engine)
        engine.dispose()
        yield name


@pytest.fixture(params=DATABASES)
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a database without tables."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'digseason.db'}"
        return
    postgres: Cluster = request.getfixturevalue("postgres")
    with postgres.database() as name:
        yield postgres.url(name)


@pytest.fixture(params=DATABASES)
def store_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a store with empty tables."""
    if request.param == "sqlite":
        template: Path = request.getfixturevalue("sqlite_template")
        yield f"sqlite:///{shutil.copy(template, tmp_path)}"
        return
    postgres: Cluster = request.getfixturevalue("postgres")
    name: str = request.getfixturevalue("postgres_store")
    postgres.empty(name)
    yield postgres.url(name)


@pytest.fixture
def engine(store_url: str) -> Iterator[Engine]:
    """An open store with empty tables."""
    opened = open_engine(store_url)
    yield opened
    opened.dispose()
