"""The real command in a process of its own."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any

import requests

from service.delivery import deliver
from service.settings import Settings
from service.store.engine import open_engine

COMMAND = [sys.executable, "-c", "from service.cli import main; main()"]


def start(
    data: Path,
    *words: str,
    database_url: str = "",
    env: Mapping[str, str] | None = None,
    stdout: int | IO[str] = subprocess.PIPE,
    before: str = "",
) -> subprocess.Popen[str]:
    """Start `digseason --data DATA WORDS...`; what it runs before, in Python, may hold it up."""
    python, flag, code = COMMAND
    return subprocess.Popen(  # noqa: S603 (our own command)
        [python, flag, f"{before}{code}", "--data", str(data), *words],
        env={**os.environ, "DIGSEASON_DATABASE_URL": database_url, **(env or {})},
        stdout=stdout,
        stderr=subprocess.STDOUT,
        text=True,
    )


def run(data: Path, *words: str, database_url: str = "") -> tuple[int, str]:
    """Run it to its end; return its exit code and what it printed."""
    process = start(data, *words, database_url=database_url)
    output, _ = process.communicate(timeout=120)
    return process.returncode, output


def wait_until(condition: Callable[[], bool], timeout_s: float = 120) -> None:
    """Wait for something that another process does."""
    end = time.monotonic() + timeout_s
    while not condition():
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.02)


@contextmanager
def serving(
    data: Path, database_url: str, env: Mapping[str, str] | None = None, *words: str
) -> Iterator[str]:
    """Give the address of a running `digseason serve WORDS...`; it must end without a traceback.

    What it prints is in `find_console(data)`: a pipe that nobody reads would stop it.
    """
    port = find_free_port()
    console = find_console(data)
    with console.open("w") as stdout:
        command = ("serve", "--port", str(port), *words)
        process = start(data, *command, database_url=database_url, env=env, stdout=stdout)
    address = f"http://127.0.0.1:{port}"
    end = time.monotonic() + 600  # a hang is meant, not a busy machine
    try:
        while not _answers(address):
            assert time.monotonic() < end, "the service did not start"
            assert process.poll() is None, console.read_text()
            time.sleep(0.1)
        yield address
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(120)
    assert "Traceback" not in console.read_text()


@contextmanager
def running_dask(*words: str) -> Iterator[None]:
    """Run `dask WORDS...`, a scheduler or a worker, in a process of its own."""
    process = subprocess.Popen(  # noqa: S603 (our own words)
        [sys.executable, "-m", "dask", *words, "--dashboard-address", "127.0.0.1:0"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        yield
    finally:
        process.kill()
        process.wait()


def find_free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


def find_console(data: Path) -> Path:
    """Return the file of what `serving` a folder prints."""
    return data.with_name(f"{data.name}.console")


def _answers(address: str) -> bool:
    try:
        return requests.get(f"{address}/health", timeout=5).status_code == 200
    except requests.RequestException:
        return False


def send_waiting(data: Path, env: Mapping[str, Any]) -> None:
    """Send what waits in the store of a folder: what a process of its own does."""
    settings = Settings(data=data, **env)
    deliver(open_engine(settings.store_url), settings, datetime.now(UTC))
