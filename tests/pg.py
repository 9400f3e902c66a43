"""A real PostgreSQL for the tests: one throw-away cluster, an empty store for each test."""

from __future__ import annotations

import contextlib
import itertools
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import psycopg

START_S = 20.0
EMPTY = """
do $$
declare
    name text;
    year int := extract(year from now());
begin
    perform pg_terminate_backend(pid, 10000) from pg_stat_activity
        where datname = current_database() and backend_type = 'client backend'
        and pid != pg_backend_pid();
    for name in select relname from pg_class
        where relispartition and relkind = 'r' and right(relname, 4)::int not in (year, year + 1)
    loop
        execute format('drop table %I', name);  -- of many, each new connection reads each
    end loop;
    set local session_replication_role = replica;  -- no foreign key is asked, row by row
    for name in select relname from pg_class
        where relkind in ('r', 'p') and not relispartition
        and relnamespace = 'public'::regnamespace and relname != 'alembic_version'
    loop
        execute format('delete from %I', name);
    end loop;
    perform setval(format('%I', sequencename), start_value, false) from pg_sequences
        where schemaname = 'public';
end
$$
"""
LOCALE = ("-E", "UTF8", "--locale=C.UTF-8")
SETTINGS = (
    *("-c", "listen_addresses=", "-c", "timezone=UTC"),
    # nothing of it outlives the tests
    *("-c", "fsync=off", "-c", "synchronous_commit=off", "-c", "full_page_writes=off"),
)


@dataclass(frozen=True)
class Cluster:
    """A running PostgreSQL that listens on a socket in `root` only."""

    root: Path
    numbers: Iterator[int] = field(default_factory=itertools.count)

    def url(self, database: str) -> str:
        """Return the address of a database as the store takes it."""
        return f"postgresql+psycopg://test@/{database}?host={self.root}"

    def execute(self, statement: str, database: str = "postgres") -> None:
        """Run one statement that stands outside any transaction."""
        dsn = f"host={self.root} user=test dbname={database}"
        with psycopg.connect(dsn, autocommit=True) as connection:
            connection.execute(statement.encode())

    @contextlib.contextmanager
    def database(self, template: str = "template0") -> Iterator[str]:
        """Give the name of a fresh database, a copy of another; dropped afterwards."""
        name = f"test_{next(self.numbers)}"
        self.execute(f"create database {name} template {template}")
        try:
            yield name
        finally:
            self.execute(f"drop database {name} with (force)")

    def empty(self, database: str) -> None:
        """Take all rows out of a store that nobody uses any more: quicker than a fresh one."""
        self.execute(EMPTY, database)


def find_programs() -> Path:
    """Return the folder of PostgreSQL's programs, the newest that is installed."""
    if "PG_BIN" in os.environ:
        return Path(os.environ["PG_BIN"])
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[4]))
    if not found:
        raise RuntimeError("no PostgreSQL found: run `apt-get install postgresql`, or set PG_BIN")
    return found[-1].parent


def _as_other_user(root: Path) -> list[str]:
    """Return the words before a command that make it run as one who is not root.

    PostgreSQL refuses root; and it must die with the tests, even where those are killed.
    """
    dies = ["setpriv", "--pdeathsig", "INT"]
    if os.geteuid() != 0:
        return [*dies, "--"]
    names = {entry.pw_name: entry for entry in pwd.getpwall()}
    user = names.get("postgres") or names["nobody"]
    os.chown(root, user.pw_uid, user.pw_gid)
    return [*dies, f"--reuid={user.pw_uid}", f"--regid={user.pw_gid}", "--clear-groups", "--"]


@contextlib.contextmanager
def cluster() -> Iterator[Cluster]:
    """Give a running cluster; nothing of it is left afterwards."""
    programs = find_programs()
    root = Path(tempfile.mkdtemp(prefix="pgt-", dir="/tmp"))  # a socket's path is short
    data = root / "data"
    env = {"PATH": f"{programs}:/usr/bin:/bin", "LC_ALL": "C.UTF-8", "TZ": "UTC", "HOME": str(root)}
    as_other_user = _as_other_user(root)
    initdb = [programs / "initdb", "-D", data, "-U", "test", "--auth=trust", *LOCALE, "--no-sync"]
    postgres = [programs / "postgres", "-D", data, "-k", root, *SETTINGS]
    subprocess.run(  # noqa: S603 (our own arguments)
        [*as_other_user, *initdb], check=True, env=env, cwd=root, stdout=subprocess.DEVNULL
    )
    with (root / "log").open("wb") as log:
        server = subprocess.Popen(  # noqa: S603 (our own arguments)
            [*as_other_user, *postgres],
            env=env,
            cwd=root,
            stdout=log,
            stderr=log,
            start_new_session=True,  # Ctrl-C is for the tests
        )
    try:
        _wait(server, root)
        yield Cluster(root)
    finally:
        server.send_signal(signal.SIGINT)
        try:
            server.wait(15)
        except subprocess.TimeoutExpired:
            server.send_signal(signal.SIGQUIT)
            server.wait(5)
        shutil.rmtree(root, ignore_errors=True)


def _wait(server: subprocess.Popen[bytes], root: Path) -> None:
    """Return once the server answers; raise with its log where it does not."""
    deadline = time.monotonic() + START_S
    while time.monotonic() < deadline and server.poll() is None:
        with contextlib.suppress(psycopg.OperationalError):
            psycopg.connect(f"host={root} user=test dbname=postgres").close()
            return
        time.sleep(0.05)
    raise RuntimeError(f"PostgreSQL did not start:\n{(root / 'log').read_text()}")
