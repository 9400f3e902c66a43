"""What was rejected of one file: the first ones one by one, the many behind them by their kind."""

from __future__ import annotations

import re
from array import array
from collections.abc import Collection, Iterable
from dataclasses import replace

from probes.frames import Reject
from probes.temperatures import NO_DEPTH

MOST_TOLD = 10_000
"""Nobody reads more; each costs half a kilobyte wherever it is kept, told or shown."""

MOST_KINDS = 1_000
"""Kinds that differ by more than a value, such as the depths of a file in long form."""

_VALUE = re.compile(r"'[^']*'|[-\d]+ [\d:]+(?= UTC )|has \d+")
_ANYTHING = re.compile(r"'.*'|\d+", re.DOTALL)


class Rejects:
    """Gathers rejects as they are found, in the order of their lines.

    All rows of a depth that the layout does not know are one from the first on, other kinds behind
    the first `MOST_TOLD` rejects: nothing is lost of what they count, nor where it stands.
    """

    def __init__(self) -> None:
        self._told: list[Reject] = []
        self._gathered: dict[tuple[str, int], tuple[Reject, array[int]]] = {}

    def add(self, rejects: Iterable[Reject]) -> None:
        """Take rejects in."""
        for one in rejects:
            if len(self._told) < MOST_TOLD and not _is_of_depth(one):
                self._told.append(one)
            else:
                self._lines_like(one).append(one.line)

    def drop(self, lost: Collection[int]) -> None:
        """Leave out what was said of some lines."""
        self._told = [one for one in self._told if one.line not in lost]
        for _, lines in self._gathered.values():
            lines[:] = array(lines.typecode, (line for line in lines if line not in lost))

    def tell(self) -> tuple[Reject, ...]:
        """Return them all, in the order of their lines."""
        gathered = [_tell(first, lines) for first, lines in self._gathered.values() if lines]
        return tuple(sorted([*self._told, *gathered], key=lambda one: one.line))

    def __bool__(self) -> bool:
        return bool(self._told or self._gathered)

    def _lines_like(self, one: Reject) -> array[int]:
        """Return where others of the kind stand; all of a kind cost as many readings."""
        value = None if _is_of_depth(one) else _VALUE.match(one.reason)
        kind = one.reason[value.end() :] if value else one.reason
        if (kind, one.readings) not in self._gathered and len(self._gathered) >= MOST_KINDS:
            kind = _ANYTHING.sub("", one.reason)
        return self._gathered.setdefault((kind, one.readings), (one, array("I")))[1]


def _is_of_depth(one: Reject) -> bool:
    return NO_DEPTH in one.reason


def _tell(first: Reject, lines: array[int]) -> Reject:
    """Return rejects of one kind as one, at the line of the first that is left."""
    count = f"{len(lines):,}"
    told = (
        f"({count} rows of it, the first is this)"
        if _is_of_depth(first)
        else f"({count} of this kind, from here to line {lines[-1]:,})"
    )
    return replace(
        first,
        line=lines[0],
        reason=f"{first.reason} {told}",
        text=first.text if first.line == lines[0] else "",
        readings=first.readings * len(lines),
    )
