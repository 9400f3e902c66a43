"""What has changed for a block: its windows now, held against what people have been told."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from alerts.notices import What
from alerts.windows import Kind, Span


@dataclass(frozen=True)
class Told:
    """One notice that was made, as far as it says when a window was open."""

    season: int
    kind: Kind
    what: What
    opened_on: date | None
    closed_on: date | None
    told_opened_on: date | None


@dataclass(frozen=True)
class Change:
    """One thing to tell: `span` as it is now; for a correction `told`, as it was said to be."""

    season: int
    kind: Kind
    what: What
    span: Span | None
    told: tuple[date, date | None] | None


def find_changes(spans: Sequence[Span], told: Iterable[Told], as_of: date) -> list[Change]:
    """Return what to tell about one block.

    Parameters
    ----------
    spans : of the seasons that are looked back upon
    told : the notices made about those seasons, oldest first
    as_of : what was told of later days is left aside, so that a look back corrects nothing

    An open window is told once, its close once; a window that came and went untold is not news.
    Where an opening that was told has moved or gone, or a close no longer holds, that is one
    correction.
    """
    believed = _believed(told, as_of)
    for span in spans:
        believed.setdefault((span.season, span.kind), {})
    changes: list[Change] = []
    for season, kind in sorted(believed, key=lambda window: (window[0], window[1] == "fall")):
        now = [span for span in spans if (span.season, span.kind) == (season, kind)]
        changes += _of_window(season, kind, now, believed[season, kind])
    return changes


def _believed(told: Iterable[Told], as_of: date) -> dict[tuple[int, Kind], dict[date, date | None]]:
    """Return, per season and kind, the openings that people believe in, each with its close."""
    believed: dict[tuple[int, Kind], dict[date, date | None]] = {}
    for notice in told:
        openings = believed.setdefault((notice.season, notice.kind), {})
        if notice.told_opened_on is not None:
            openings.pop(notice.told_opened_on, None)
        if notice.opened_on is not None:
            openings[notice.opened_on] = notice.closed_on
    return {
        window: {
            opened_on: None if closed_on is None or closed_on > as_of else closed_on
            for opened_on, closed_on in openings.items()
            if opened_on <= as_of
        }
        for window, openings in believed.items()
    }


def _of_window(
    season: int, kind: Kind, now: list[Span], believed: dict[date, date | None]
) -> list[Change]:
    changes: list[Change] = []
    moved = dict(believed)
    untold: list[Span] = []
    for span in now:
        if span.opened_on not in moved:
            untold.append(span)
            continue
        closed_on = moved.pop(span.opened_on)
        if closed_on is None and span.closed_on is not None:
            changes.append(Change(season, kind, "closed", span, None))
        elif closed_on != span.closed_on:
            changes.append(Change(season, kind, "corrected", span, (span.opened_on, closed_on)))
    for opened_on, closed_on in moved.items():
        nearest = min(untold, key=lambda span: abs(span.opened_on - opened_on), default=None)
        if nearest is not None:
            untold.remove(nearest)
        changes.append(Change(season, kind, "corrected", nearest, (opened_on, closed_on)))
    for span in untold:
        if span.closed_on is None:
            what: What = "opened" if span is now[0] else "opened again"
            changes.append(Change(season, kind, what, span, None))
    return changes
