"""Open the store, read from it, write to it.

SQLite: write-ahead log, a busy timeout, and BEGIN IMMEDIATE on each write, so that a second writer
waits at its start and is never refused half way. PostgreSQL: who writes to the same rows waits.
Who has waited for too long, or met a deadlock, gets a StoreBusyError on either, and only here.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError

from service.store.busy import StoreBusyError, is_busy

PATIENCE_S = 600  # a file of many years is one transaction, which takes minutes
BRIEF_PATIENCE_S = 20
SCANT_PATIENCE_S = 0.05
CONNECT_TIMEOUT_S = 10
MISSED_S = 60
"""After that a host that has vanished is missed: no one waits for it, and its locks are let go."""
KEEPALIVES = {"keepalives_idle": 30, "keepalives_interval": 10, "keepalives_count": 3}


def open_engine(url: str) -> Engine:
    """Return an engine for `url` (sqlite:///FILE or postgresql+psycopg://...).

    Its errors show no values, which are of persons.
    """
    if not url.startswith("sqlite"):
        # a table that is not analysed yet looks large: to compile takes a second, to answer none
        options = f"-c timezone=UTC -c lock_timeout={PATIENCE_S}s -c jit=off"
        options += "".join(f" -c tcp_{name}={value}" for name, value in KEEPALIVES.items())
        arguments = {
            "options": f"{options} -c tcp_user_timeout={MISSED_S}s",
            "connect_timeout": CONNECT_TIMEOUT_S,
            # a server that waits for a lock takes nothing meanwhile of a load that it is sent
            "tcp_user_timeout": 1000 * (PATIENCE_S + MISSED_S),
            **KEEPALIVES,
        }
        return create_engine(url, pool_pre_ping=True, hide_parameters=True, connect_args=arguments)
    arguments = {"timeout": PATIENCE_S, "isolation_level": None}
    engine = create_engine(url, hide_parameters=True, connect_args=arguments)
    with suppress(OSError):  # which SQLite tells better; it gives its logs the mode of the file
        Path(engine.url.database or "").touch(mode=0o600, exist_ok=False)

    @event.listens_for(engine, "connect")
    def prepare(connection: Any, _: object) -> None:
        _use_write_ahead_log(connection)
        # what was answered as kept, sent or moved aside outlives a loss of power
        connection.execute("pragma synchronous = full")
        connection.execute("pragma foreign_keys = on")
        connection.execute("pragma trusted_schema = off")  # a backup may be anyone's

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        options = connection.get_execution_options()
        if not options.get("digseason_write", False):
            connection.exec_driver_sql("begin")
            return
        connection.exec_driver_sql(f"pragma busy_timeout = {_patience_ms(options)}")
        connection.exec_driver_sql("begin immediate")

    return engine


def name_store(engine: Engine) -> str:
    """Return where a store is, without a password: its address may hold one behind the "?" too."""
    return engine.url.set(query={}).render_as_string()


def _use_write_ahead_log(connection: sqlite3.Connection) -> None:
    """Switch a file to its write-ahead log; SQLite does not wait for who switches a new one too."""
    end = time.monotonic() + BRIEF_PATIENCE_S
    while True:
        try:
            connection.execute("pragma journal_mode = wal")
            return
        except sqlite3.OperationalError as error:
            if not is_busy(error) or time.monotonic() > end:
                raise
            time.sleep(0.01)


def with_brief_patience(engine: Engine) -> Engine:
    """Return the same store for those whom someone waits for: they give way sooner."""
    return engine.execution_options(digseason_patience_s=BRIEF_PATIENCE_S)


def with_scant_patience(engine: Engine) -> Engine:
    """Return the same store for what can as well be written another time."""
    return engine.execution_options(digseason_patience_s=SCANT_PATIENCE_S)


def _patience_ms(options: Mapping[str, Any]) -> int:
    return round(1000 * options.get("digseason_patience_s", PATIENCE_S))


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """Give a connection within one write transaction: all of it is kept, or nothing.

    StoreBusyError where others did not let it.
    """
    writer = engine.execution_options(digseason_write=True)
    try:
        with writer.begin() as connection:
            patience_ms = _patience_ms(engine.get_execution_options())
            if engine.dialect.name == "postgresql" and patience_ms != 1000 * PATIENCE_S:
                connection.exec_driver_sql(f"set local lock_timeout = {patience_ms}")
            yield connection
    except DBAPIError as error:
        if is_busy(error.orig):
            raise StoreBusyError from error
        raise


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """Give a connection that sees one state of the store and changes nothing."""
    if engine.dialect.name == "postgresql":
        engine = engine.execution_options(
            isolation_level="REPEATABLE READ", postgresql_readonly=True
        )
    with engine.begin() as connection:
        yield connection
