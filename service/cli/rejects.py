"""What was rejected, in words: the first of each reason, and how many more there are."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Protocol

from service.cli.options import WIDTH, wrap_text

LISTED = 20
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


def describe_rejects(rejects: Iterable[Rejected]) -> Iterator[str]:
    """Give lines for each reason, with the first that it befell and the lines of the others."""
    alike: dict[tuple[str, str], list[Rejected]] = {}
    for reject in rejects:
        of_file = getattr(reject, "file", "")
        alike.setdefault((of_file, QUOTED.sub("", reject.reason, count=1)), []).append(reject)
    for (file, _), found in list(alike.items())[:LISTED]:
        first, *others = found
        line = "" if first.line is None else f"line {first.line}"
        where = ", ".join(part for part in (file, line) if part)
        yield from wrap_text(f"{where}: {first.reason}" if where else first.reason, 2)
        if first.text:
            yield f"      {first.text[: WIDTH - 6]}"
        if others:
            yield f"      {_describe_others([one.line or 0 for one in others])}"
    hidden = sum(len(found) for found in list(alike.values())[LISTED:])
    if hidden:
        yield f"  and {hidden:,} more: --json lists all"


def _describe_others(lines: list[int]) -> str:
    if len(lines) == 1:
        return f"so too line {lines[0]}"
    return f"so too {len(lines):,} more, lines {min(lines)} to {max(lines)}: --json lists all"
