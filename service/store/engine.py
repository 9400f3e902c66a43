"""Open the store, read from it, write to it.

SQLite: write-ahead log, a busy timeout, and BEGIN IMMEDIATE on each write, so that a second writer
waits at its start and is never refused half way.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event

BUSY_TIMEOUT_S = 30


def open_engine(url: str) -> Engine:
    """Return an engine for `url` (sqlite:///FILE or postgresql+psycopg://...)."""
    if not url.startswith("sqlite"):
        return create_engine(url, pool_pre_ping=True, connect_args={"options": "-c timezone=UTC"})
    engine = create_engine(url, connect_args={"timeout": BUSY_TIMEOUT_S, "isolation_level": None})

    @event.listens_for(engine, "connect")
    def prepare(connection: Any, _: object) -> None:
        connection.execute("pragma journal_mode = wal")
        connection.execute("pragma synchronous = normal")
        connection.execute("pragma foreign_keys = on")

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        mode = connection.get_execution_options().get("digseason_write", False)
        connection.exec_driver_sql("begin immediate" if mode else "begin")

    return engine


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """Give a connection within one write transaction: all of it is kept, or nothing."""
    writer = engine.execution_options(digseason_write=True)
    with writer.begin() as connection:
        yield connection


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """Give a connection that sees one state of the store and changes nothing."""
    if engine.dialect.name == "postgresql":
        engine = engine.execution_options(
            isolation_level="REPEATABLE READ", postgresql_readonly=True
        )
    with engine.begin() as connection:
        yield connection
