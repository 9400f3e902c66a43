"""What has changed for a block: its windows now, held against what people have been told."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from alerts.bounds import DateRange
from alerts.notices import NOWCASTS, Nowcast, Summary, What
from alerts.rules import WindowRule
from alerts.states import State
from alerts.windows import Kind, Span, trailing_mean

PAUSE_DAYS = 5
"""A shorter pause is not told. Ours."""


@dataclass(frozen=True)
class Told:
    """One notice that was made, as far as it says when a window was open.

    nowcast_on : for one told without readings, the day on which it was made
    """

    season: int
    kind: Kind
    what: What
    opened_on: date | None
    closed_on: date | None
    told_opened_on: date | None
    nowcast_on: date | None = None


@dataclass(frozen=True)
class Change:
    """One thing to tell: `span` as it is now; for a correction `told`, as it was said to be.

    nowcast : for what is told without readings
    nowcast_said : where readings have come, since about when nowcasts had said that it was open and
        closed
    likely : for "opening soon", when it is likely to open
    summary : for "season summary"
    """

    season: int
    kind: Kind
    what: What
    span: Span | None
    told: tuple[date, date | None] | None = None
    nowcast: Nowcast | None = None
    nowcast_said: tuple[date | None, date | None] | None = None
    likely: DateRange | None = None
    summary: Summary | None = None


def find_changes(spans: Sequence[Span], told: Iterable[Told], as_of: date) -> list[Change]:
    """Return what to tell about one block.

    Parameters
    ----------
    spans : of the seasons that are looked back upon
    told : the notices made about those seasons, oldest first; of nowcasts nothing is believed here
    as_of : what was told of later days is left aside, so that a look back corrects nothing

    An open window is told once, its close once; a window that came and went untold is not news,
    unless people were told that there was none. A pause by heat or cold is told once it has lasted
    five days; a shorter one that is over is as if it had not been. Where an opening that was told
    has moved or gone, or a close no longer holds, that is one correction; an opening within a
    window that had been open before has moved to its start.
    """
    told = list(told)
    believed = _believed(told, as_of)
    taken_back = {
        (notice.season, notice.kind)
        for notice in told
        if notice.what == "corrected" and notice.opened_on is None
    }
    for span in spans:
        believed.setdefault((span.season, span.kind), {})
    changes: list[Change] = []
    for season, kind in sorted(believed, key=lambda window: (window[0], window[1] == "fall")):
        openings = believed[season, kind]
        of_window = [span for span in spans if (span.season, span.kind) == (season, kind)]
        now = list(_without_short_pauses(of_window, openings))
        is_denied = (season, kind) in taken_back and not openings
        changes += _of_window(season, kind, now, openings, is_denied, as_of)
    return changes


def find_untold_pauses(spans: Sequence[Span], as_of: date) -> list[tuple[int, Kind]]:
    """Return the windows whose last close may be that of a short pause, and is not told yet."""
    last: dict[tuple[int, Kind], Span] = {(span.season, span.kind): span for span in spans}
    return [window for window, span in last.items() if _may_be_short(span, as_of)]


def is_known(
    change: Change,
    root_zone_c: NDArray[np.float64],
    days: NDArray[np.datetime64],
    rule: WindowRule,
    state: State,
    as_of: date,
) -> bool:
    """Return whether readings tell how a window stands that people are told of again.

    That one did not open after all they tell only where the mean of the day that was told is
    there and, in spring, lies below what opens it. That one is still open takes a recent mean,
    no older than the close that was told. `root_zone_c` and `days` are one series of
    alerts.windows.evaluate, `state` the block's on `as_of`.
    """
    if change.told is None or (change.span and change.span.closed_on):
        return True
    told_opened_on, told_closed_on = change.told
    means_c = trailing_mean(root_zone_c, rule)
    if change.span:
        since = np.datetime64(told_closed_on or change.span.opened_on, "D")
        until = np.datetime64(as_of, "D")
        later_c = means_c[(days >= since) & (days <= until)]
        is_recent = state not in ("no basis", "no recent readings")
        return is_recent and not np.isnan(later_c).all()
    mean_c = means_c[days == np.datetime64(told_opened_on, "D")]
    rules_out = mean_c < rule.spring_opens_c if change.kind == "spring" else ~np.isnan(mean_c)
    return bool(rules_out.any())


def _believed(told: Iterable[Told], as_of: date) -> dict[tuple[int, Kind], dict[date, date | None]]:
    """Return, per season and kind, the openings that people believe in, each with its close."""
    believed: dict[tuple[int, Kind], dict[date, date | None]] = {}
    for notice in told:
        if notice.what in NOWCASTS or notice.what == "nowcast withdrawn":
            continue
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
    season: int,
    kind: Kind,
    now: list[Span],
    believed: dict[date, date | None],
    is_denied: bool,
    as_of: date,
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
            if not _may_be_short(span, as_of):
                changes.append(Change(season, kind, "closed", span, None))
        elif closed_on != span.closed_on:
            changes.append(Change(season, kind, "corrected", span, (span.opened_on, closed_on)))
    for opened_on, closed_on in moved.items():
        nearest = min(untold, key=lambda span: abs(span.opened_on - opened_on), default=None)
        around = next((span for span in now if _is_open(span, opened_on)), nearest)
        untold = [span for span in untold if span is not around]
        changes.append(Change(season, kind, "corrected", around, (opened_on, closed_on)))
    for span in untold:
        if span.closed_on is None:
            what: What = "opened" if span is now[0] else "opened again"
            changes.append(Change(season, kind, what, span, None))
        elif is_denied:
            changes.append(Change(season, kind, "corrected", span, None))
    return changes


def _without_short_pauses(
    spans: Sequence[Span], believed: Mapping[date, date | None]
) -> Iterator[Span]:
    """Yield the spans of a window, two as one where the pause between them was short.

    A pause that was told stays: its close, or the opening after it.
    """
    whole: Span | None = None
    for span in spans:
        if whole is None:
            whole = span
            continue
        closed_on = whole.closed_on
        is_short = closed_on and (span.opened_on - closed_on).days < PAUSE_DAYS
        is_told = closed_on == believed.get(whole.opened_on) or span.opened_on in believed
        if is_short and not is_told:
            closing = span.closed_on, span.reason, span.closed_not_before
            whole = replace(
                whole, closed_on=closing[0], reason=closing[1], closed_not_before=closing[2]
            )
        else:
            yield whole
            whole = span
    if whole:
        yield whole


def _may_be_short(span: Span, as_of: date) -> bool:
    """Return whether a close may be the beginning of a pause too short to be told."""
    if span.closed_on is None or span.reason not in ("cold", "hot"):
        return False
    return (as_of - span.closed_on).days < PAUSE_DAYS - 1


def _is_open(span: Span, day: date) -> bool:
    return span.opened_on <= day and (span.closed_on is None or day < span.closed_on)
