"""A full disk, of a store or of PostgreSQL's log alone: nothing that was accepted is lost, what was
not is sent again, and all goes on once there is room. The disks are real and small."""

from __future__ import annotations

import errno
import json
import os
import shutil
import sqlite3
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager, closing, contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path

import psycopg
import pytest

from tests.end_to_end.faults.judge import see
from tests.end_to_end.faults.nursery import PATIENCE_S
from tests.end_to_end.faults.story import BEGIN, SOURCES, STEPS
from tests.end_to_end.faults.test_faults import Stage, stage, tell  # noqa: F401 (a fixture)
from tests.end_to_end.faults.world import JOBS, SERVE, World
from tests.pg import Cluster, cluster
from tests.processes import wait_until

SMALL_LOG = ("--wal-segsize=1",)  # [MB]
KEPT_LOG_MB = 24


@dataclass(frozen=True)
class Disk:
    """A small file system."""

    folder: Path

    @property
    def ballast(self) -> Path:
        """The file that takes all the room."""
        return self.folder / "ballast"

    def fill(self) -> None:
        """Leave no byte free."""
        with (
            Path("/dev/zero").open("rb") as zeros,
            self.ballast.open("wb", buffering=0) as ballast,
            pytest.raises(OSError, match=os.strerror(errno.ENOSPC)),
        ):
            shutil.copyfileobj(zeros, ballast)

    def make_room(self) -> None:
        """Give back what was taken."""
        self.ballast.unlink(missing_ok=True)


@dataclass(frozen=True)
class Place:
    """A world that uses a small disk; how it is filled, and how room is made.

    refusal : how a push is answered meanwhile
    """

    world: World
    fill: Callable[[], None]
    make_room: Callable[[], None]
    refusal: int


@contextmanager
def small_disk(folder: Path, size_mb: int) -> Iterator[Disk]:
    """Mount one on a folder; nothing of it is left afterwards."""
    folder.mkdir(parents=True, exist_ok=True)
    options = f"size={size_mb}m,mode=1777"
    mounted = subprocess.run(  # noqa: S603 (our own folder)
        ["mount", "-t", "tmpfs", "-o", options, "small", folder],  # noqa: S607 (that of the PATH)
        stderr=subprocess.PIPE,
        text=True,
    )
    assert mounted.returncode == 0, (
        f"no disk can be mounted here, so that none can be filled ({mounted.stderr.strip()}): run "
        "this as root, in a container with the capability SYS_ADMIN"
    )
    try:
        yield Disk(folder)
    finally:
        subprocess.run(["umount", "--lazy", folder], check=True)  # noqa: S603, S607 (as above)


@contextmanager
def of_sqlite(stage: Stage, folder: Path) -> Iterator[Place]:  # noqa: F811 (the fixture)
    """The data folder, store and inbox, lies on it."""
    data = folder / "run" / "data"

    def fill() -> None:
        with closing(sqlite3.connect(data / "digseason.db")) as store:
            # its log keeps the room that it once took
            wait_until(lambda: store.execute("pragma wal_checkpoint(truncate)").fetchone()[0] == 0)
        disk.fill()

    with small_disk(data, 64) as disk, stage.world("sqlite", data.parent) as world:
        yield Place(world, fill, disk.make_room, 503)


@contextmanager
def of_postgresql(stage: Stage, folder: Path) -> Iterator[Place]:  # noqa: F811 (the fixture)
    """All of PostgreSQL lies on it; its log has room that it took before."""
    log = f"min_wal_size={KEPT_LOG_MB}MB", f"max_wal_size={2 * KEPT_LOG_MB}MB"
    with (
        _short_folder() as short,
        small_disk(short, 256) as disk,
        cluster(short, SMALL_LOG, log) as server,
        _world(stage, server, folder) as world,
    ):

        def fill() -> None:
            _write_log(server, KEPT_LOG_MB)
            server.execute("checkpoint")  # what it wrote until now is room for what it will
            disk.fill()

        yield Place(world, fill, disk.make_room, 503)
        assert not server.has_ended


@contextmanager
def of_log_of_postgresql(stage: Stage, folder: Path) -> Iterator[Place]:  # noqa: F811
    """PostgreSQL's log lies on it, and is all that does: without room for it PostgreSQL ends."""
    with _short_folder() as short, small_disk(short, 96) as disk:
        layout = *SMALL_LOG, f"--waldir={short / 'log'}"
        log = "min_wal_size=2MB", "max_wal_size=16MB"
        with cluster(layout=layout, settings=log) as server, _world(stage, server, folder) as world:

            def fill() -> None:
                disk.fill()
                with suppress(psycopg.OperationalError):
                    _write_log(server, 96)
                wait_until(lambda: server.has_ended)

            def make_room() -> None:
                disk.make_room()
                if server.has_ended:  # whoever looks after its host starts it again
                    server.start()

            yield Place(world, fill, make_room, 500)


@contextmanager
def _short_folder() -> Iterator[Path]:
    """Give a folder in which a socket may lie: its path is short."""
    with tempfile.TemporaryDirectory(prefix="full-", dir="/tmp") as name:
        yield Path(name)


@contextmanager
def _world(stage: Stage, server: Cluster, folder: Path) -> Iterator[World]:  # noqa: F811
    own = replace(stage, postgres=server)
    own.prepare_postgres()
    with own.world("postgresql", folder / "run") as world:
        yield world


def _write_log(server: Cluster, size_mb: int) -> None:
    """Let a server write so much into its log, and nowhere else."""
    for _ in range(size_mb):
        server.execute("select pg_logical_emit_message(false, '', repeat('x', 1000000))")


def _is_held_up(world: World) -> bool:
    """Return whether each way of readings into the store has been refused."""
    told = "\n".join(world.told)
    jobs = world.processes[JOBS].read()
    return (
        "a push is answered by" in told
        and "an import ends with" in told
        and ("csv failed" in jobs or "inbox: failed" in jobs)
    )


@pytest.mark.long
@pytest.mark.parametrize("place", [of_sqlite, of_postgresql, of_log_of_postgresql])
def test_what_a_full_disk_holds_up_is_kept_once_there_is_room(
    stage: Stage,  # noqa: F811 (the fixture)
    tmp_path: Path,
    place: Callable[[Stage, Path], AbstractContextManager[Place]],
) -> None:
    with place(stage, tmp_path) as full:
        world = full.world
        try:
            _fill_while_readings_come(world, full)
            outcome = see(world, STEPS[-1])
        finally:
            tell(world)
    answers = {line.split()[-1] for line in world.told if "a push is answered by" in line}
    assert answers == {f"{full.refusal}"}
    assert outcome.readings == {
        (source.logger, at, temp_c)
        for source in SOURCES
        for at, temp_c in source.temps_c(BEGIN, STEPS[-1])
    }
    assert {one["block"] for one in json.loads(outcome.windows)} == {one.block for one in SOURCES}
    assert outcome.untold == []
    assert sum(outcome.said.values()) - len(outcome.said) <= 1  # the one in flight
    assert outcome.damage == []
    assert [line for line in world.told if "had ended" in line] == []  # serve and jobs went on


def _fill_while_readings_come(world: World, full: Place) -> None:
    """Let readings come by all ways to a full disk, the inbox's before; then make room."""
    _, since, *_, until = STEPS
    for name in (SERVE, JOBS):
        world.start(name)
    world.clock.set(since)
    world.deliver(STEPS[0], since)
    world.settle()
    waiting = {}
    for source in SOURCES:
        if source.by == "inbox":
            path = world.data / "inbox" / source.logger / "late.csv"
            waiting[path] = path.with_suffix(".part")  # which is left alone
            waiting[path].write_text(source.as_file(since, until))
    world.sources = [source for source in SOURCES if source.by != "inbox"]
    full.fill()
    world.say("the disk is full")
    world.clock.set(until)
    for path, partial in waiting.items():
        partial.replace(path)
    with ThreadPoolExecutor(1) as beside:
        delivering = beside.submit(world.deliver, since, until)
        try:
            wait_until(lambda: delivering.done() or _is_held_up(world), PATIENCE_S)
            assert not delivering.done()
            assert [path for path in waiting if not path.exists()] == []
        finally:
            world.say("there is room again")
            full.make_room()
        delivering.result()
    world.settle()
    world.end_all()
