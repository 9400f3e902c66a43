"""All that runs: the store, the processes of Digseason, a mail server, a gateway for texts, and
those who deliver readings until they are told that these were accepted."""

from __future__ import annotations

import json
import signal
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from email import message_from_string, policy
from pathlib import Path
from typing import Any

import requests
from sqlalchemy import Connection, Engine
from sqlalchemy.exc import DBAPIError

from probes.future_stamps import OF_FUTURE
from service.intake.inbox import TAKEN
from service.store.channel_troubles import ChannelTrouble, fetch_troubles
from service.store.engine import reading
from service.store.holds import fetch_hold
from service.store.looks import REST, is_look_due
from service.store.notices import fetch_waiting
from service.store.outbox import LONGEST_WAIT, fetch_messages
from service.store.round_lease import LOOKING_AHEAD, ROUND, fetch_lease
from service.store.rounds import fetch_last_round, has_unseen_changes, is_evaluation_due
from tests.end_to_end.faults.clock import Clock
from tests.end_to_end.faults.nursery import PATIENCE_S, Nursery, Process
from tests.end_to_end.faults.socket_proxy import SocketProxy
from tests.end_to_end.faults.story import SOURCES, Source
from tests.http_server import HttpServer
from tests.processes import find_free_port
from tests.smtp_server import SmtpServer

TICK_S, STILL_TICKS, HELD_S = 0.15, 3, 2.0
"""Nothing moves for so long before the clock is set on: no one is just about to, or has it in hand.
"""
SERVE, JOBS, MORE_JOBS = "serve", "jobs", "more jobs"


@dataclass(frozen=True)
class Left:
    """What is left to do, the time that it waits for, and whether a process may have it in hand."""

    what: str = ""
    until: datetime | None = None
    is_held: bool = False


@dataclass
class World:
    """What one run plays with.

    url : of the store, as the processes reach it; engine : the same, as nothing cuts it
    proxy : what stands before PostgreSQL
    cut_at : how much of a file first lies in the inbox; None: all of it
    """

    folder: Path
    clock: Clock
    nursery: Nursery
    mail: SmtpServer
    gateway: HttpServer
    url: str
    engine: Engine
    proxy: SocketProxy | None
    secrets: dict[str, str]
    empty: Callable[[], None]
    zone: str = "UTC"
    sources: Sequence[Source] = SOURCES
    tick_s: float = TICK_S
    patience_s: float = PATIENCE_S
    cut_at: float | None = None
    processes: dict[str, Process] = field(default_factory=dict)
    port: int = field(default_factory=find_free_port)
    told: list[str] = field(default_factory=list)
    _begun_s: float = field(default_factory=time.monotonic)

    @property
    def data(self) -> Path:
        """The data folder."""
        return self.folder / "data"

    @property
    def env(self) -> dict[str, str]:
        """The environment of the processes."""
        return {
            "DIGSEASON_TICK_S": f"{self.tick_s}",
            "DIGSEASON_INBOX_SETTLED_S": "0.2",
            "TZ": self.zone,
            "DIGSEASON_DATABASE_URL": self.url,
            "DIGSEASON_MAIL_FROM": "Alder Bench <dig@alder.example>",
            "DIGSEASON_SMTP_HOST": "127.0.0.1",
            "DIGSEASON_SMTP_SECURITY": "none",
            "DIGSEASON_SMTP_PORT": str(self.mail.port),
            "DIGSEASON_SMTP_TIMEOUT_S": "0.5",
            "DIGSEASON_SMTP_PER_MIN": "100000",
            "DIGSEASON_SMS_URL": self.gateway.address,
            "DIGSEASON_SMS_BODY": '{"reference": "{reference}", "to": "{to}", "text": "{text}"}',
            "DIGSEASON_SMS_HEADERS": '{"Content-Type": "application/json"}',
            "DIGSEASON_SMS_TIMEOUT_S": "0.5",
            "DIGSEASON_SMS_PER_MIN": "100000",
            "DIGSEASON_MAIL_CHARTS": "0",
            "DIGSEASON_PUSH_PER_MIN": "100000",
        }

    def say(self, what: str) -> None:
        """Note what happens, for who plays a run again."""
        since_s = time.monotonic() - self._begun_s
        self.told.append(f"{since_s:7.2f} s  {self.clock.now():%Y-%m-%d %H:%M}  {what}")

    # the processes

    def run(self, *words: str) -> Process:
        """Start `digseason WORDS...`."""
        console = self.folder / f"{words[0]}.console"
        return self.nursery.start(console, self.env, "--data", str(self.data), *words)

    def start(self, name: str) -> None:
        """Start one of those that go on."""
        words = {SERVE: ("serve", "--port", str(self.port), "--pages-only")}
        self.processes[name] = self.run(*words.get(name, ("jobs",)))

    def end(self, name: str, how: int = signal.SIGKILL) -> None:
        """End one of those that go on."""
        process = self.processes.pop(name)
        process.signal(how)
        process.wait()

    def end_all(self, how: int = signal.SIGKILL) -> None:
        """End all of them."""
        for name in list(self.processes):
            self.end(name, how)

    def empty_store(self) -> None:
        """Take the store away, and leave an empty place for one."""
        self.engine.dispose()
        self.empty()

    def revive(self) -> None:
        """Start again what should go on and has ended, as whoever looks after the host would."""
        for name in (SERVE, JOBS, MORE_JOBS):
            process = self.processes.get(name)
            if process and process.poll() is not None:
                self.say(f"{name} had ended with {process.poll()}")
                self.start(name)

    # what comes in

    def deliver(self, since: datetime, until: datetime) -> None:
        """Deliver all readings of a span, each by its way, until they were accepted."""
        label = f"{until:%m%d%H}"
        ways = {"inbox": self._by_inbox, "push": self._by_push, "import": self._by_import}
        waiting = {
            source.block: ways[source.by](source, label, since, until) for source in self.sources
        }
        end_s = time.monotonic() + self.patience_s
        while waiting:
            for block, goes_on in list(waiting.items()):
                if next(goes_on, "accepted") == "accepted":
                    del waiting[block]
                    self.say(f"{block}: accepted")
            self.revive()
            assert time.monotonic() < end_s, f"not accepted: {list(waiting)}"
            time.sleep(0.03)

    def _by_inbox(
        self, source: Source, label: str, since: datetime, until: datetime
    ) -> Iterator[None]:
        """Put a file there until its report says that its readings are in."""
        folder = self.data / "inbox" / source.logger
        folder.mkdir(parents=True, exist_ok=True)
        whole = source.as_file(since, until)
        path = folder / f"{label}.csv"
        if self.cut_at:
            self.say(f"{source.block}: {self.cut_at:.0%} of a file")
            _put(path, whole[: int(len(whole) * self.cut_at)])
            yield
            end_s = time.monotonic() + 0.5
            while time.monotonic() < end_s:
                yield
        said = OF_FUTURE
        while OF_FUTURE in said:  # read by a clock that was behind: it is put there once more
            _put(path, whole)
            while path.exists() or (folder / TAKEN / path.name).exists() or path.exists():
                yield  # it may go back meanwhile
            reports = folder.glob(f"*/{label}*.report.txt")
            said = max(reports, key=lambda one: one.stat().st_mtime_ns).read_text()

    def _by_push(
        self,
        source: Source,
        label: str,  # noqa: ARG002 (as the other ways)
        since: datetime,
        until: datetime,
    ) -> Iterator[None]:
        headers = {"Authorization": f"Bearer {self.secrets[source.block]}"}
        headers["Content-Type"] = "application/json"
        body, answer = source.as_push(since, until), 0
        while answer != 200:
            with suppress(requests.RequestException):
                address = f"http://127.0.0.1:{self.port}/api/readings"
                answer = requests.post(address, body, headers=headers, timeout=3).status_code
                if answer != 200:
                    self.say(f"{source.block}: a push is answered by {answer}")
            if answer != 200:
                yield

    def _by_import(
        self, source: Source, label: str, since: datetime, until: datetime
    ) -> Iterator[None]:
        path = self.folder / f"{source.block}-{label}.csv"
        path.write_text(source.as_file(since, until))
        code: int | None = None
        while code != 0:
            process = self.run("import", "--logger", source.logger, str(path))
            self.processes["import"] = process  # so that it may be killed too
            while (code := process.poll()) is None:
                yield
            self.processes.pop("import", None)
            if code != 0:
                self.say(f"{source.block}: an import ends with {code}")

    # what is to come of it

    def list_said(self) -> list[tuple[str, str, str]]:
        """Return what those who are told were told so far: channel, address, words."""
        texts = [json.loads(asked.body) for asked in self.gateway.asked]
        return [
            *(("mail", one.to, _words(one.mail)) for one in self.mail.taken),
            *(("sms", text["to"], text["text"]) for text in texts),
        ]

    def settle(self) -> None:
        """Wait until nothing is left to do; what waits for a time finds the clock there."""
        end_s, still_s = time.monotonic() + self.patience_s, STILL_TICKS * self.tick_s
        calm, waited, waits_s = 0, "", time.monotonic()
        while calm < 2:
            self.revive()
            left = self.find_left()
            calm = 0 if left.what else calm + 1
            if left.what != waited:
                waited, waits_s = left.what, time.monotonic()
            assert time.monotonic() < end_s, f"it does not settle: {left}"
            is_still = time.monotonic() - waits_s > (HELD_S if left.is_held else still_s)
            until = left.until
            if is_still and until and until - LONGEST_WAIT < self.clock.now() < until:
                self.say(f"{left.what} until {until:%Y-%m-%d %H:%M:%S}")
                self.clock.set(until + timedelta(seconds=1))
                waits_s = time.monotonic()
            time.sleep(0.08)

    def find_left(self) -> Left:
        """Return what is left to do."""
        inbox = self.data / "inbox"
        for path in (*inbox.glob("*/*.csv"), *inbox.glob(f"*/{TAKEN}/*")):
            return Left(f"{path.name} in the inbox")
        now = self.clock.now()
        try:
            with reading(self.engine) as connection:
                if is_look_due(connection, now):
                    return Left("outlooks", self._find_lapse(connection, LOOKING_AHEAD))
                if is_evaluation_due(connection, now):
                    return Left("a round", self._find_lapse(connection, ROUND))
                last = fetch_last_round(connection)
                if last and has_unseen_changes(connection):
                    rest = timedelta(seconds=(REST + 1) * last.took_s)
                    return Left("a round that rests", last.started_at + rest)
                if fetch_hold(connection):
                    return Left()
                waiting = fetch_messages(connection, with_delivered=False)
                waiting = [row for row in waiting if not row.ended]
                if not waiting and fetch_waiting(connection):
                    return Left("news of those who were told today", now + timedelta(days=1))
                if not waiting:
                    return Left()
                troubles = fetch_troubles(connection)
        except DBAPIError as error:
            return Left(f"the store: {error.orig}")
        until = min(
            max(
                filter(None, (row.leased_until, row.next_try_at, _next_try(troubles, row))),
                default=now,
            )
            for row in waiting
        )
        is_held = any(row.leased_until for row in waiting)
        return Left(f"{len(waiting)} messages", until, is_held)

    def _find_lapse(self, connection: Connection, what: int) -> datetime | None:
        """Return when the hold of a process lapses that has died; None: none has."""
        lease = fetch_lease(connection, what)
        if lease is None or lease.process in {one.pid for one in self.processes.values()}:
            return None
        return lease.lapses_at


def _next_try(troubles: Mapping[str, ChannelTrouble], row: Any) -> datetime | None:
    trouble = troubles.get(row.channel)
    return trouble and trouble.next_try_at


def _put(path: Path, text: str) -> None:
    """Put a file there at once: by the clock that is set, it never is one that still changes."""
    partial = path.with_name(f".{path.name}")
    partial.write_text(text)
    partial.replace(path)


def say_again(world: World) -> None:
    """Do what is to be done after a restore: drop what was told before, let the rest go."""
    known = set(world.list_said())
    with reading(world.engine) as connection:
        rows = fetch_messages(connection, with_delivered=False)
    told = [str(row.id) for row in rows if not row.ended and _key(row) in known]
    world.say(f"messages {told} of {len(rows)} were told before the restore")
    if told:
        by = ("--by", "Ada Example", "--why", "told before")
        assert world.run("outbox", "drop", *told, *by).wait() == 0
    assert world.run("outbox", "release").wait() == 0


def _key(row: Any) -> tuple[str, str, str]:
    if row.channel == "sms":
        return "sms", row.address, row.message
    return "mail", row.address, _words(message_from_string(row.message, policy=policy.default))


def _words(mail: Any) -> str:
    return " ".join([mail["Subject"], *mail.get_body("plain").get_content().split()])
