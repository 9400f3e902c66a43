"""The real command in real processes, without the second that importing it takes: one process has
imported all of it, and forks for each. What it forks dies with it."""

from __future__ import annotations

import gc
import json
import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from threading import Condition, Thread
from typing import Any

from tests.end_to_end.faults.clock import go_by_the_clock

COMMANDS = (
    *("serve", "jobs", "import_", "inbox", "round_", "check", "windows", "backup", "restore"),
    *("setup", "tokens", "recipients", "outbox"),
)
LATER = (
    *("service.channels.gateway", "service.channels.smtp", "jmespath", "pydantic.v1"),
    *("uvicorn.lifespan.on", "uvicorn.loops.auto", "uvicorn.protocols.http.auto"),
    *("uvicorn.protocols.websockets.auto", "sqlalchemy.dialects.postgresql.psycopg", "psycopg"),
)
"""What those import once they run."""
PATIENCE_S = 300  # where others use the processors


@dataclass
class Process:
    """A running `digseason`; its output is in `console`."""

    nursery: Nursery
    pid: int
    console: Path

    def poll(self) -> int | None:
        """Return its exit code, negative where a signal ended it; None while it runs."""
        return self.nursery.ended.get(self.pid)

    def signal(self, number: int) -> None:
        """Send a signal, unless it has ended."""
        with suppress(ProcessLookupError):
            if self.poll() is None:
                os.kill(self.pid, number)

    def wait(self, timeout_s: float = PATIENCE_S) -> int:
        """Return its exit code once it has ended."""
        with self.nursery.changed:
            if not self.nursery.changed.wait_for(lambda: self.poll() is not None, timeout_s):
                raise TimeoutError(f"{self.pid} goes on:\n{self.read()}")
        code = self.poll()
        assert code is not None
        return code

    def read(self) -> str:
        """Return what it has printed."""
        return self.console.read_text() if self.console.exists() else ""


class Nursery:
    """Starts processes, and knows which have ended."""

    def __init__(self, env: Mapping[str, str]) -> None:
        self.ended: dict[int, int] = {}
        self.running: set[int] = set()
        self.changed = Condition()
        self._begun: list[int] = []
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.end_to_end.faults.nursery"],
            env={**os.environ, **env},
            cwd=Path(__file__).parents[3],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self._reading = Thread(target=self._read, daemon=True)
        self._reading.start()

    def start(self, console: Path, env: Mapping[str, str], *words: str) -> Process:
        """Start `digseason WORDS...` in this environment; it adds its output to a file."""
        assert self._process.stdin is not None
        asked = {"console": str(console), "env": dict(env), "words": words}
        self._process.stdin.write(f"{json.dumps(asked)}\n")
        self._process.stdin.flush()
        with self.changed:
            assert self.changed.wait_for(lambda: bool(self._begun), PATIENCE_S), "it is gone"
            return Process(self, self._begun.pop(), console)

    def close(self) -> None:
        """End it, and all that still run."""
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait(30)
        self._reading.join()
        assert self._process.stdout is not None
        self._process.stdout.close()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            pid, code = json.loads(line)
            with self.changed:
                if code is None:
                    self.ended.pop(pid, None)  # of an earlier one: numbers come round
                    self.running.add(pid)
                    self._begun.append(pid)
                else:
                    self.running.discard(pid)
                    self.ended[pid] = code
                self.changed.notify_all()


@contextmanager
def nursery(env: Mapping[str, str]) -> Iterator[Nursery]:
    """Give a running nursery."""
    running = Nursery(env)
    try:
        yield running
    finally:
        running.close()


def _run() -> None:
    go_by_the_clock()
    for name in (*(f"service.cli.{command}" for command in COMMANDS), *LATER):
        import_module(name)
    gc.collect()
    gc.freeze()  # no one collects again, in each process, what all share
    woken, wakes = os.pipe()
    os.set_blocking(wakes, False)
    signal.set_wakeup_fd(wakes, warn_on_full_buffer=False)
    signal.signal(signal.SIGCHLD, lambda *_: None)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    alive: set[int] = set()
    waiting = b""
    while True:
        ready, _, _ = select.select([0, woken], [], [])
        if woken in ready:
            os.read(woken, 4096)
            for pid in list(alive):
                found, status = os.waitpid(pid, os.WNOHANG)
                if found:
                    alive.discard(pid)
                    _say(pid, os.waitstatus_to_exitcode(status))
        if 0 in ready:
            came = os.read(0, 65536)
            if not came:
                break
            *lines, waiting = (waiting + came).split(b"\n")
            for line in lines:
                pid = _fork(json.loads(line), (woken, wakes))
                alive.add(pid)
                _say(pid, None)
    for pid in alive:
        os.kill(pid, signal.SIGKILL)


def _say(pid: int, code: int | None) -> None:
    print(json.dumps([pid, code]), flush=True)  # noqa: T201 (to who asked)


def _fork(asked: Mapping[str, Any], closed: tuple[int, int]) -> int:
    pid = os.fork()
    if pid:
        return pid
    try:
        signal.set_wakeup_fd(-1)
        for number, handler in (
            (signal.SIGCHLD, signal.SIG_DFL),
            (signal.SIGINT, signal.default_int_handler),
        ):
            signal.signal(number, handler)
        for fd in closed:
            os.close(fd)
        null = os.open(os.devnull, os.O_RDONLY)
        console = os.open(asked["console"], os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
        for old, new in ((null, 0), (console, 1), (console, 2)):
            os.dup2(old, new)
        os.environ.update(asked["env"])
        time.tzset()
        from service.cli import main

        main(list(asked["words"]), prog_name="digseason")
    except SystemExit as end:
        _end(end.code if isinstance(end.code, int) else 1 if end.code else 0)
    except BaseException:
        import traceback

        traceback.print_exc()
        _end(1)
    _end(0)
    raise AssertionError


def _end(code: int) -> None:
    with suppress(OSError):
        sys.stdout.flush()
        sys.stderr.flush()
    os._exit(code)


if __name__ == "__main__":
    _run()
