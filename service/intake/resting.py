"""Which files rest: one that is written to looks otherwise from one look to the next.

A file is compared with how it looked before, and the time in between is taken by our own clock: the
times of a file may be by the clock of another host, or those of what it was copied from.
"""

from __future__ import annotations

import os
from pathlib import Path
from time import monotonic
from typing import NamedTuple


class Look(NamedTuple):
    """How a file looks; it stays so when it is moved."""

    inode: int
    size: int
    mtime_ns: int


def find_look(stat: os.stat_result) -> Look:
    """Return how a file looks."""
    return Look(stat.st_ino, stat.st_size, stat.st_mtime_ns)


class Resting:
    """Knows how files looked, for as long as a process looks at them again and again."""

    def __init__(self) -> None:
        self._before: dict[Path, tuple[Look, int, float]] = {}
        self._seen: dict[Path, tuple[Look, int, float]] = {}

    def look_again(self) -> None:
        """Begin another look at all files; one that is not met in it is forgotten."""
        self._before, self._seen = self._seen, {}

    def rests(self, path: Path, stat: os.stat_result, for_s: float) -> bool:
        """Return whether a file has been seen to look as it does for so long."""
        now_s, look, changed_ns = monotonic(), find_look(stat), stat.st_ctime_ns
        *before, since_s = self._before.get(path, (look, changed_ns, now_s))
        if before != [look, changed_ns]:  # each write sets the ctime, whatever the mtime is set to
            since_s = now_s
        self._seen[path] = look, changed_ns, since_s
        return now_s - since_s >= for_s
