"""What became of the readings that a delivery brought."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol, TypeVar

COUNTS = ("inserted", "identical", "conflicting", "rejected", "missing")
CONFLICTS_TOLD = 20
QUOTED = re.compile(r"'[^']*'")  # first the value, then maybe a column


class Rejected(Protocol):
    """A row or cell that does not count; a line of None: the whole file."""

    @property
    def line(self) -> int | None:
        """Where it stands."""
        ...

    @property
    def reason(self) -> str:
        """Why, with what it says in quotes."""
        ...

    @property
    def text(self) -> str:
        """What stands there."""
        ...


R = TypeVar("R", bound=Rejected)


@dataclass(frozen=True)
class FileReject:
    """What was not read and why; a line of None: the whole file."""

    file: str
    line: int | None
    reason: str
    text: str


@dataclass(frozen=True)
class FileConflict:
    """A value that was met for an instant at which another one is kept."""

    file: str
    channel: str
    observed_at: datetime
    kept_c: float
    other_c: float


@dataclass(frozen=True)
class ImportReport:
    """What became of the readings of one or more files; the five counts add up to all of them.

    conflicts : the first few of each probe and file; the table `conflict` holds all
    others : how many rows of the files are of other loggers
    signs : of a wrong clock or unit, in words
    notes : what else there is to know
    """

    inserted: int = 0
    identical: int = 0
    conflicting: int = 0
    rejected: int = 0
    missing: int = 0
    rejects: tuple[FileReject, ...] = ()
    conflicts: tuple[FileConflict, ...] = ()
    others: int = 0
    signs: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def __add__(self, other: ImportReport) -> ImportReport:
        """Return one report of both."""
        pairs = zip(vars(self).values(), vars(other).values(), strict=True)
        return ImportReport(*(mine + theirs for mine, theirs in pairs))


def group_rejects(rejects: Iterable[R]) -> list[list[R]]:
    """Return what was rejected, of each file those of one reason together."""
    alike: dict[tuple[str, str], list[R]] = {}
    for reject in rejects:
        of_file = getattr(reject, "file", "")
        alike.setdefault((of_file, QUOTED.sub("", reject.reason, count=1)), []).append(reject)
    return list(alike.values())
