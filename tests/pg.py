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
from collections.abc import Iterator, Mapping, Sequence
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


@dataclass
class Cluster:
    """A PostgreSQL that listens on a socket in `root` only."""

    root: Path
    command: Sequence[str | Path]
    env: Mapping[str, str]
    numbers: Iterator[int] = field(default_factory=itertools.count)
    _server: subprocess.Popen[bytes] = field(init=False)

    def start(self) -> None:
        """Start it, anew where it has ended; return once it answers."""
        with (self.root / "log").open("ab") as log:
            self._server = subprocess.Popen(  # noqa: S603 (our own arguments)
                self.command,
                env=self.env,
                cwd=self.root,
                stdout=log,
                stderr=log,
                start_new_session=True,  # Ctrl-C is for the tests
            )
        _wait(self._server, self.root)

    @property
    def has_ended(self) -> bool:
        """Whether it runs no more."""
        return self._server.poll() is not None

    def stop(self) -> None:
        """Let it end."""
        self._server.send_signal(signal.SIGINT)
        try:
            self._server.wait(15)
        except subprocess.TimeoutExpired:
            self._server.send_signal(signal.SIGQUIT)
            self._server.wait(5)

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
def cluster(
    within: Path = Path("/tmp"),  # noqa: S108 (a socket's path is short)
    layout: Sequence[str] = (),
    settings: Sequence[str] = (),
) -> Iterator[Cluster]:
    """Give a running cluster in a new folder; nothing of it is left afterwards.

    layout : more for `initdb`; settings : more for the server, as `NAME=VALUE`
    """
    programs = find_programs()
    root = Path(tempfile.mkdtemp(prefix="pgt-", dir=within))
    data = root / "data"
    env = {"PATH": f"{programs}:/usr/bin:/bin", "LC_ALL": "C.UTF-8", "TZ": "UTC", "HOME": str(root)}
    as_other_user = _as_other_user(root)
    initdb = [programs / "initdb", "-D", data, "-U", "test", "--auth=trust", *LOCALE, "--no-sync"]
    more = [word for setting in settings for word in ("-c", setting)]
    postgres = [programs / "postgres", "-D", data, "-k", root, *SETTINGS, *more]
    subprocess.run(  # noqa: S603 (our own arguments)
        [*as_other_user, *initdb, *layout], check=True, env=env, cwd=root, stdout=subprocess.DEVNULL
    )
    running = Cluster(root, [*as_other_user, *postgres], env)
    try:
        running.start()
        yield running
    finally:
        running.stop()
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
