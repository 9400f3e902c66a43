"""A clock that a test sets, for real processes: what Python, and PostgreSQL, answer when they are
asked what time it is. How long something takes stays as it is."""

from __future__ import annotations

import ctypes
import gc
import os
import struct
import tempfile
import time
from datetime import UTC, date, datetime, timedelta, tzinfo
from mmap import mmap
from pathlib import Path
from typing import Any

NAME = "FAULTS_CLOCK"
OFFSET = struct.Struct("d")
"""What the clock is ahead of the right one [s]."""

SHIFTED = """
create function public.clock_timestamp() returns timestamptz language sql as $$
    select pg_catalog.clock_timestamp() + pg_catalog.pg_read_file('{path}')::interval
$$;
alter role current_user set search_path = public, pg_catalog
"""


class Clock:
    """What all processes that go by it take for the time."""

    def __init__(self) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="clock-"))
        self._folder.chmod(0o755)  # PostgreSQL runs as someone else
        self._for_postgres = self._folder / "interval"
        with (self._folder / "offset").open("w+b") as file:
            file.write(OFFSET.pack(0))
            file.flush()
            self._offset = mmap(file.fileno(), OFFSET.size)
        self.set(datetime.now(UTC))

    @property
    def env(self) -> dict[str, str]:
        """The environment of processes that call `go_by_the_clock`."""
        return {NAME: str(self._folder / "offset")}

    @property
    def for_postgres(self) -> str:
        """The statements by which a database goes by it, for connections to come."""
        return SHIFTED.format(path=self._for_postgres)

    def now(self) -> datetime:
        """Return the time that it shows."""
        return datetime.now(UTC) + timedelta(seconds=OFFSET.unpack(self._offset)[0])

    def set(self, now: datetime) -> None:
        """Show another time from now on."""
        ahead_s = (now - datetime.now(UTC)).total_seconds()
        self._offset[:] = OFFSET.pack(ahead_s)
        new = self._for_postgres.with_suffix(".new")
        new.write_text(f"{ahead_s} s")
        new.chmod(0o644)
        new.replace(self._for_postgres)

    def step(self, by: timedelta) -> None:
        """Step forth or back."""
        self.set(self.now() + by)

    def remove(self) -> None:
        """Leave no file behind."""
        self._offset.close()
        for path in self._folder.iterdir():
            path.unlink()
        self._folder.rmdir()


def go_by_the_clock() -> None:
    """Let this process, and all that it forks, go by the clock that its environment names.

    What is asked is written into the types of `datetime` themselves, which no one can tell apart
    from the clock of the host being wrong.
    """
    with Path(os.environ[NAME]).open("r+b") as file:
        offset = mmap(file.fileno(), OFFSET.size)
    right = time.time

    def now_s() -> float:
        return right() + OFFSET.unpack(offset)[0]

    def now(cls: type[datetime], tz: tzinfo | None = None) -> datetime:
        return cls.fromtimestamp(now_s(), tz)

    def today(cls: type[date]) -> date:
        return cls.fromtimestamp(now_s())

    time.time = now_s
    time.time_ns = lambda: int(now_s() * 1e9)
    _write(datetime, "now", classmethod(now))
    _write(date, "today", classmethod(today))


def _write(kind: type, name: str, value: Any) -> None:
    gc.get_referents(kind.__dict__)[0][name] = value
    ctypes.pythonapi.PyType_Modified(ctypes.py_object(kind))
