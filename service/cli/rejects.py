"""What was rejected, in words: the first of each reason, and how many more there are."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from service.cli.options import WIDTH, wrap_text
from service.intake.reports import Rejected, group_rejects

LISTED = 20


def describe_rejects(rejects: Iterable[Rejected]) -> Iterator[str]:
    """Give lines for each reason, with the first that it befell and the lines of the others."""
    alike = group_rejects(rejects)
    for first, *others in alike[:LISTED]:
        line = "" if first.line is None else f"line {first.line}"
        where = ", ".join(part for part in (getattr(first, "file", ""), line) if part)
        yield from wrap_text(f"{where}: {first.reason}" if where else first.reason, 2)
        if first.text:
            yield f"      {first.text[: WIDTH - 6]}"
        if others:
            yield f"      {_describe_others([one.line or 0 for one in others])}"
    hidden = sum(len(found) for found in alike[LISTED:])
    if hidden:
        yield f"  and {hidden:,} more: --json lists all"


def _describe_others(lines: list[int]) -> str:
    if len(lines) == 1:
        return f"so too line {lines[0]}"
    return f"so too {len(lines):,} more, lines {min(lines)} to {max(lines)}: --json lists all"
