"""Whatever is killed, cut, filled, stepped, truncated or restored: what was accepted is kept, what
is to be told is told once, and windows are those of a run without faults.

A run that fails is played again by its name: `pytest -q tests/end_to_end/faults -k seed-17-`.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from functools import partial
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Any

import pytest
import trustme

from service.store.engine import open_engine
from tests.end_to_end.faults.clock import Clock
from tests.end_to_end.faults.judge import Outcome, see
from tests.end_to_end.faults.nursery import PATIENCE_S, Nursery, nursery
from tests.end_to_end.faults.plan import FAULTS, LATE, NOTHING, Plan, failing, make_plan
from tests.end_to_end.faults.socket_proxy import socket_proxy
from tests.end_to_end.faults.story import BEGIN, PEOPLE, SOURCES, STEPS, farm_text
from tests.end_to_end.faults.world import JOBS, MORE_JOBS, SERVE, World, say_again
from tests.http_server import Reply, http_server
from tests.pg import Cluster, cluster
from tests.processes import wait_until
from tests.smtp_server import smtp_server

IN_CI, IN_ALL = range(60, 80), 500  # the least ones that meet all
DATABASES = ("sqlite", "postgresql")
EMPTY_STORE, BEGIN_STORE = "empty_store", "begin_store"


@dataclass
class Stage:
    """What all runs share: the clock, the nursery, a PostgreSQL, and the store as it begins."""

    folder: Path
    clock: Clock
    nursery: Nursery
    postgres: Cluster
    secrets: dict[str, str] = field(default_factory=dict)
    clean: dict[str, Outcome] = field(default_factory=dict)

    @contextmanager
    def world(self, database: str, folder: Path, is_set_up: bool = True) -> Iterator[World]:
        """Give a world with a store that is set up, unless it is to be empty."""
        folder.mkdir(parents=True, exist_ok=True)
        with ExitStack() as stack:
            empty = partial(_remove, folder / "data")
            proxy, url, direct = None, "", f"sqlite:///{folder / 'data' / 'digseason.db'}"
            if is_set_up and (self.folder / "data").exists():
                shutil.copytree(self.folder / "data", folder / "data", dirs_exist_ok=True)
            if database == "postgresql":
                name = stack.enter_context(self.postgres.database(BEGIN_STORE))
                proxy = stack.enter_context(socket_proxy(self.postgres.root))
                direct = self.postgres.url(name)
                url = direct.replace(str(self.postgres.root), str(proxy.folder))
                empty = partial(self._empty, name)
            self.clock.set(STEPS[0])
            mail = stack.enter_context(smtp_server(trustme.CA(), "none"))
            gateway = stack.enter_context(http_server(lambda _: Reply(b"{}")))
            engine = open_engine(direct)
            stack.callback(engine.dispose)
            world = World(
                *(folder, self.clock, self.nursery, mail, gateway, url, engine, proxy),
                *(self.secrets, empty),
            )
            stack.callback(world.end_all)
            yield world

    def prepare_postgres(self) -> None:
        """Make a database that goes by the clock, and one with the store as it begins."""
        for name, template in ((EMPTY_STORE, "template0"), (BEGIN_STORE, EMPTY_STORE)):
            self.postgres.execute(f"create database {name} template {template}")
            if name == EMPTY_STORE:
                self.postgres.execute(self.clock.for_postgres, name)
        env = {"DIGSEASON_DATABASE_URL": self.postgres.url(BEGIN_STORE)}
        for words in (("restore", str(self.folder / "begin.backup")), ("outbox", "release")):
            data = "--data", str(self.folder / "postgres")
            process = self.nursery.start(self.folder / "begin.console", env, *data, *words)
            assert process.wait() == 0, process.read()

    def _empty(self, name: str) -> None:
        self.postgres.execute(f"drop database {name} with (force)")
        self.postgres.execute(f"create database {name} template {EMPTY_STORE}")

    def find_clean(self, database: str, folder: Path) -> Outcome:
        """Return what a run without faults comes to, played once."""
        if database not in self.clean:
            with self.world(database, folder / "clean") as world:
                try:
                    self.clean[database] = play(world, NOTHING, Random(0))  # noqa: S311
                finally:
                    tell(world)
        return self.clean[database]


def _remove(data: Path) -> None:
    for path in data.glob("digseason.db*"):
        path.unlink()


@pytest.fixture(scope="module")
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    clock = Clock()
    folder = tmp_path_factory.mktemp("faults")
    with nursery(clock.env) as forking, cluster() as postgres:
        stage = Stage(folder, clock, forking, postgres)
        with stage.world("sqlite", folder) as world:
            _set_up(stage, world)
        stage.prepare_postgres()
        yield stage
    clock.remove()


def _set_up(stage: Stage, world: World) -> None:
    """Make the store as it begins: a farm, readings of two months, consent, tokens."""
    farm = stage.folder / "farm.toml"
    farm.write_text(farm_text())
    _run(world, "setup", str(farm))
    for source in SOURCES:
        path = stage.folder / f"{source.block}.csv"
        path.write_text(source.as_file(BEGIN, STEPS[0]))
        _run(world, "import", "--logger", source.logger, str(path))
        if source.by == "push":
            stage.secrets[source.block] = _run(world, "tokens", "add", "--logger", source.logger)
    for name in PEOPLE:
        _run(world, "recipients", "confirm", name, "--by", "Ada Example", "--why", "on paper")
    _run(world, "round")
    _run(world, "backup", str(stage.folder / "begin.backup"))


def _run(world: World, *words: str) -> str:
    process = world.run(*words)
    assert process.wait() == 0, process.read()
    said = process.read().strip()
    process.console.unlink()
    return said


def play(world: World, plan: Plan, random: Random) -> Outcome:
    """Play the story under a plan; return what is left of it."""
    for name in (SERVE, JOBS, *([MORE_JOBS] * plan.more_jobs)):
        world.start(name)
    for number, (since, until) in enumerate(pairwise(STEPS)):
        world.clock.set(until)
        world.cut_at = random.uniform(0.05, 0.95) if number in plan.truncated else None
        world.say(f"step {number}")
        if number == plan.restored:
            _restore(world)
            world.deliver(STEPS[number - 1], since)
            world.settle()
            say_again(world)
        if plan.restored == number + 1:
            assert world.run("backup", str(world.folder / "night.backup")).wait() == 0
        with failing(world, plan.faults[number], random):
            world.deliver(since, until)
        with failing(world, plan.late[number], random):
            world.settle()
        world.settle()
    world.end_all()
    return see(world)


def _restore(world: World) -> None:
    """Put last night's backup in the place of the store, as if its disk had broken."""
    world.say("the disk breaks; last night's backup is restored")
    running = list(world.processes)
    world.end_all()
    world.empty_store()
    restored = world.run("restore", str(world.folder / "night.backup"))
    assert restored.wait() == 0, restored.read()
    for name in running:
        world.start(name)


def _database(seed: int) -> str:
    return DATABASES[seed % 2]


def _make_plan(seed: int) -> tuple[Plan, Random]:
    random = Random(seed)  # noqa: S311 (no secret)
    return make_plan(random, len(STEPS) - 1), random


def _seed(number: int) -> Any:
    marks = [pytest.mark.long] if number not in IN_CI else []
    return pytest.param(number, id=f"seed-{number}-{_database(number)}", marks=marks)


def test_what_is_played_by_day_meets_every_fault_on_both_databases() -> None:
    plans = [(_database(seed), _make_plan(seed)[0]) for seed in IN_CI]
    met = {(where, fault) for where, plan in plans for step in plan.faults for fault in step}
    late = {(where, fault) for where, plan in plans for step in plan.late for fault in step}
    assert met == {(where, fault) for where in DATABASES for fault in FAULTS}
    assert late == {(where, fault) for where in DATABASES for fault in LATE}
    assert {where for where, plan in plans if plan.truncated} == {*DATABASES}
    assert {where for where, plan in plans if plan.restored is not None} == {*DATABASES}
    assert {where for where, plan in plans if plan.more_jobs} == {*DATABASES}


@pytest.mark.parametrize("seed", [*map(_seed, range(IN_ALL))])
def test_whatever_fails_nothing_is_lost_and_nothing_told_twice(
    stage: Stage, tmp_path: Path, seed: int
) -> None:
    clean = stage.find_clean(_database(seed), tmp_path)
    plan, random = _make_plan(seed)
    with stage.world(_database(seed), tmp_path / "run") as world:
        try:
            outcome = play(world, plan, random)
            assert outcome.readings == clean.readings
            assert outcome.windows == clean.windows
            assert outcome.believed == clean.believed
            assert outcome.told >= clean.told
            assert outcome.untold == []
            assert sum(count - 1 for count in outcome.said.values()) <= plan.most_doubled
            assert outcome.damage == []
            assert stage.nursery.running == set()
        finally:
            tell(world)


def tell(world: World) -> None:
    """Print what happened: pytest shows it where a run fails."""
    print(*world.told, sep="\n")  # noqa: T201
    for console in sorted(world.folder.glob("*.console")):
        print(f"\n{console.name}:\n{console.read_text()[-6000:]}")  # noqa: T201


@pytest.mark.parametrize("database", DATABASES)
def test_a_run_without_faults_tells_each_message_once(
    stage: Stage, tmp_path: Path, database: str
) -> None:
    outcome = stage.find_clean(database, tmp_path)
    assert outcome.untold == []
    assert set(outcome.said.values()) == {1}
    assert outcome.damage == []
    # by hand: four blocks, each with its window of the season
    assert len(outcome.believed) == 4


@pytest.mark.parametrize("by", [timedelta(days=-400), timedelta(days=15_000)], ids=["back", "on"])
def test_jobs_go_on_however_far_the_clock_is_set(
    stage: Stage, tmp_path: Path, by: timedelta
) -> None:
    with stage.world("sqlite", tmp_path / "run") as world:
        world.start(JOBS)
        folder = world.data / "inbox" / SOURCES[0].logger
        folder.mkdir(parents=True)
        for number, step in enumerate(pairwise(STEPS[:3])):
            file = folder / f"{number}.csv"
            file.write_text(SOURCES[0].as_file(*step))
            wait_until(lambda: not file.exists(), PATIENCE_S)  # noqa: B023 (this very one)
            stage.clock.step(by)
        assert world.processes[JOBS].poll() is None
