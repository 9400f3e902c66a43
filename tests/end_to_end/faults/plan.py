"""What goes wrong in a run: by its seed, the same faults at the same steps whenever it is played.

Each fault undoes itself, and counts what it may have left in flight.
"""

from __future__ import annotations

import resource
import signal
import sqlite3
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import timedelta
from itertools import repeat
from random import Random
from threading import Thread

from tests.end_to_end.faults.world import World
from tests.http_server import Reply
from tests.smtp_server import DROP, HANG, STAGES, as_usual

ZONES = ("Pacific/Kiritimati", "Pacific/Pago_Pago", "America/Los_Angeles", "Australia/Lord_Howe")
STEPS_OF_THE_CLOCK = [
    timedelta(minutes=2),
    timedelta(hours=1),
    timedelta(hours=25),
    timedelta(days=40),
]

Fault = Callable[[World, Random], None]


def kill(world: World, random: Random) -> None:
    """Kill one process, whatever it does; start it again unless it is an import."""
    time.sleep(random.uniform(0, 0.8))
    name = random.choice(sorted(world.processes))
    world.say(f"{name} is killed")
    process = world.processes.get(name)
    if process:
        process.signal(signal.SIGKILL)  # whoever looks after it starts it again


def stop(world: World, random: Random) -> None:
    """Let one process stand still for a while, as a host does that sleeps."""
    name = random.choice(sorted(world.processes))
    world.say(f"{name} stands still")
    process = world.processes.get(name)
    if process:
        process.signal(signal.SIGSTOP)
        time.sleep(random.uniform(0.1, 0.6))
        world.clock.step(timedelta(minutes=random.choice([1, 5])))
        process.signal(signal.SIGCONT)


def cut_mail(world: World, random: Random) -> None:
    """Let the mail server drop, hang or refuse for now, at any stage."""
    at = random.choice(("greeting", "EHLO", "MAIL", "RCPT", "DATA", "TAKEN"))
    act = random.choice((DROP, HANG, "451 4.3.0 later", "421 4.3.2 closing"))
    world.say(f"the mail server: {act} at {at}")
    assert at in STAGES
    # what is kept and then refused comes again by right: only the one in flight
    acts = iter([act]) if at == "TAKEN" else repeat(act)
    world.mail.script = lambda stage, _: next(acts, None) if stage == at else None
    time.sleep(random.uniform(0.3, 1))
    world.mail.script = as_usual


def cut_gateway(world: World, random: Random) -> None:
    """Let the gateway hang, break off or answer that it is busy."""
    reply = random.choice((Reply(b"busy", 503), Reply(b"{}", hang_s=0.8), Reply(b"{}" * 50, cut=3)))
    world.say(f"the gateway: {reply}")
    world.gateway.say(reply)
    time.sleep(random.uniform(0.3, 1))
    world.gateway.say(Reply(b"{}"))


def fill_disk(world: World, random: Random) -> None:
    """Let all processes write no file beyond a size: what a full disk does to them."""
    limit = random.choice((0, 4096, 100_000, 1_000_000))
    time.sleep(random.uniform(0, 0.5))
    world.say(f"no file grows beyond {limit} bytes")
    limited = [process.pid for process in world.processes.values()]
    for pid in limited:
        with suppress(ProcessLookupError):
            resource.prlimit(pid, resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
    time.sleep(random.uniform(0.2, 0.6))
    for pid in limited:
        with suppress(ProcessLookupError):
            resource.prlimit(
                pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY)
            )


def cut_database(world: World, random: Random) -> None:
    """Cut the connections to PostgreSQL; hold the file of SQLite as another program would."""
    time.sleep(random.uniform(0, 0.5))
    held_s = random.uniform(0.1, 0.6)
    world.say(f"the database is away for {held_s:.1f} s")
    if world.proxy:
        world.proxy.cut()
        time.sleep(held_s)
        world.proxy.mend()
        return
    path = world.data / "digseason.db"
    with closing(sqlite3.connect(path, isolation_level=None, timeout=30)) as other:
        other.execute("begin immediate")
        time.sleep(held_s)
        other.execute("rollback")


def step_clock(world: World, random: Random) -> None:
    """Set the clock wrong, either way, and right again."""
    by = random.choice(STEPS_OF_THE_CLOCK) * random.choice((1, -1))
    time.sleep(random.uniform(0, 0.4))
    world.say(f"the clock is set by {by}")
    world.clock.step(by)
    time.sleep(random.uniform(0.2, 0.6))
    world.clock.step(-by)


def change_zone(world: World, random: Random) -> None:
    """Start all again in another zone."""
    world.zone = random.choice(ZONES)
    world.say(f"the zone is {world.zone}")
    for name in [name for name in world.processes if name != "import"]:
        world.processes[name].signal(signal.SIGTERM)


FAULTS: tuple[Fault, ...] = (
    *(kill, kill, stop, cut_mail, cut_gateway, fill_disk),
    *(cut_database, step_clock, change_zone),
)
LATE = tuple(fault for fault in FAULTS if fault is not step_clock)
"""Of these some come once all is accepted, when who plays sets the clock on."""


@dataclass(frozen=True)
class Plan:
    """The faults of each step while readings are delivered, and later; in which the inbox gets
    parts of files; before which last night's backup takes the place of the store; and whether a
    second process runs the jobs."""

    faults: tuple[tuple[Fault, ...], ...]
    late: tuple[tuple[Fault, ...], ...]
    truncated: frozenset[int]
    restored: int | None
    more_jobs: bool

    @property
    def most_doubled(self) -> int:
        """How many messages may come twice: the one in flight, unless all end in peace."""
        every = [fault for of_step in (*self.faults, *self.late) for fault in of_step]
        return sum(fault is not change_zone for fault in every)


def make_plan(random: Random, steps: int) -> Plan:
    """Draw what goes wrong."""
    return Plan(
        tuple(tuple(random.sample(FAULTS, random.choice((1, 1, 2)))) for _ in range(steps)),
        tuple(tuple(random.sample(LATE, random.choice((0, 1)))) for _ in range(steps)),
        frozenset(step for step in range(steps) if random.random() < 0.25),
        random.randrange(1, steps) if random.random() < 0.2 else None,
        random.random() < 0.3,
    )


NOTHING = Plan(((),) * 9, ((),) * 9, frozenset(), None, False)


@contextmanager
def failing(world: World, faults: Sequence[Fault], random: Random) -> Iterator[None]:
    """Let these come meanwhile, and leave nothing wrong behind."""
    troubles = [
        Thread(target=fault, args=(world, Random(random.random())))  # noqa: S311 (no secret)
        for fault in faults
    ]
    for trouble in troubles:
        trouble.start()
    try:
        yield
    finally:
        for trouble in troubles:
            trouble.join()
        world.mail.script = as_usual
        world.gateway.say(Reply(b"{}"))
        if world.proxy:
            world.proxy.mend()
