"""What became of each season of many series under one rule, as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from alerts.bounds import evaluate_with_bounds
from alerts.rules import Kind, WindowRule
from alerts.season import season_day, season_of, season_start
from alerts.windows import Span, find_spans, trailing_mean

Outcome = Literal["opened", "not reached", "not yet", "not seen", "no readings"]
"""Why there is no opening: not reached by the end of its season, seen in full; not yet, seen in
full so far; not seen, but days are missing in which it may have opened; nothing to see at all."""

OUTCOMES: tuple[Outcome, ...] = get_args(Outcome)
KINDS: tuple[Kind, ...] = get_args(Kind)
_ONE = np.timedelta64(1, "D")
_NAT = np.datetime64("NaT", "D")


@dataclass(frozen=True)
class Seasons:
    """What became of the windows of series, each array of shape (n_series, n_seasons, 2): spring,
    then fall.

    season : (n_seasons,) consecutive; south of the equator the year in which it began
    outcome : int8, position in OUTCOMES
    after : datetime64[D], the last day on which the window is known not to have opened yet; the
        day before it may, where nothing is known
    opened_on : datetime64[D], the first opening, NaT where there is none
    earliest, latest : datetime64[D], the same within the errors of the series; NaT where bounds
        were not asked for, `latest` also where within them it does not open
    closed_on : datetime64[D], when its last stretch closed; NaT while it is open
    open_d : int32, days on which it was open, all stretches together [d]
    stretches : int16, how often it opened
    seen_d, asked_d : int32, days with a value of R, of those on which it may open, up to the first
        opening or the last day that counts [d]
    """

    season: NDArray[np.int16]
    outcome: NDArray[np.int8]
    after: NDArray[np.datetime64]
    opened_on: NDArray[np.datetime64]
    earliest: NDArray[np.datetime64]
    latest: NDArray[np.datetime64]
    closed_on: NDArray[np.datetime64]
    open_d: NDArray[np.int32]
    stretches: NDArray[np.int16]
    seen_d: NDArray[np.int32]
    asked_d: NDArray[np.int32]


def find_seasons(
    root_zone_c: NDArray[np.float64],
    error_c: NDArray[np.float64] | None,
    days: NDArray[np.datetime64],
    south: NDArray[np.bool_],
    rule: WindowRule,
    as_of: date,
) -> Seasons:
    """Return what became of every season that the days touch.

    Parameters
    ----------
    error_c : array, shape (n_series, n_days), or None
        Standard error of the values; None leaves out `earliest` and `latest`. [degC]
    root_zone_c, days, south, rule, as_of : as for alerts.windows.evaluate; days must not be empty
    """
    first, last = days[0].item(), min(days[-1].item(), as_of)
    seasons = np.arange(
        min(season_of(first, one) for one in (False, True)),
        max(season_of(max(as_of, last), one) for one in (False, True)) + 1,
        dtype=np.int16,
    )
    shape = south.size, seasons.size, len(KINDS)
    found = Seasons(
        season=seasons,
        outcome=np.full(shape, OUTCOMES.index("no readings"), np.int8),
        after=np.full(shape, _NAT),
        opened_on=np.full(shape, _NAT),
        earliest=np.full(shape, _NAT),
        latest=np.full(shape, _NAT),
        closed_on=np.full(shape, _NAT),
        open_d=np.zeros(shape, np.int32),
        stretches=np.zeros(shape, np.int16),
        seen_d=np.zeros(shape, np.int32),
        asked_d=np.zeros(shape, np.int32),
    )
    if error_c is None:
        spans = find_spans(root_zone_c, days, south, rule, as_of)
    else:
        bounded = evaluate_with_bounds(root_zone_c, error_c, days, south, rule, as_of)
        spans = [evaluation.spans for evaluation, _ in bounded]
        for series, (evaluation, bounds) in enumerate(bounded):
            for span, of_span in reversed(list(zip(evaluation.spans, bounds, strict=True))):
                place = _place(found, series, span)  # the first of a window stays
                found.earliest[place] = of_span.opened.earliest
                found.latest[place] = of_span.opened.latest or _NAT
    _keep_spans(found, spans, as_of)
    seen = ~np.isnan(trailing_mean(np.ascontiguousarray(root_zone_c.T), rule)).T
    seen &= days <= np.datetime64(as_of, "D")
    _judge_what_was_seen(found, seen, days, south, rule, as_of)
    return found


def _place(found: Seasons, series: int, span: Span) -> tuple[int, int, int]:
    return series, span.season - int(found.season[0]), KINDS.index(span.kind)


def _keep_spans(found: Seasons, spans: Sequence[Sequence[Span]], as_of: date) -> None:
    for series, of_series in enumerate(spans):
        for span in of_series:
            place = _place(found, series, span)
            if not found.stretches[place]:
                found.opened_on[place] = span.opened_on
                found.after[place] = np.datetime64(span.not_before) - _ONE
                found.outcome[place] = OUTCOMES.index("opened")
            found.stretches[place] += 1
            found.closed_on[place] = span.closed_on or _NAT
            until = np.datetime64(span.closed_on) if span.closed_on else np.datetime64(as_of) + _ONE
            found.open_d[place] += (until - np.datetime64(span.opened_on)).astype(int)


def _judge_what_was_seen(
    found: Seasons,
    seen: NDArray[np.bool_],
    days: NDArray[np.datetime64],
    south: NDArray[np.bool_],
    rule: WindowRule,
    as_of: date,
) -> None:
    """Say of each season how much of it was seen, and what that makes of one without an opening."""
    until = np.zeros((south.size, days.size + 1), np.int32)  # days seen before a position
    until[:, 1:] = seen.cumsum(axis=1)
    last = np.datetime64(as_of, "D")
    for of_south in np.unique(south).tolist():
        rows = np.flatnonzero(south == of_south)
        for column, season in enumerate(found.season.tolist()):
            for kind, begins in enumerate((rule.spring_from, rule.fall_from)):
                first = np.datetime64(season_day(begins, season, of_south), "D")
                end = np.datetime64(season_start(season + 1, of_south), "D") - _ONE
                place = rows, column, kind
                opened_on = found.opened_on[place]
                is_open = ~np.isnat(opened_on)
                ends = np.where(is_open, opened_on, min(end, last))
                asked_d = np.maximum((ends - first).astype(np.int32) + 1, 0)
                seen_d = _count(until, days, rows, first, ends)
                found.asked_d[place], found.seen_d[place] = asked_d, seen_d
                whole = (seen_d == asked_d) & (asked_d > 0)
                without = np.select(
                    [seen_d == 0, ~whole, np.full(rows.size, last < end)],
                    [OUTCOMES.index(one) for one in ("no readings", "not seen", "not yet")],
                    OUTCOMES.index("not reached"),
                )
                found.outcome[place] = np.where(is_open, OUTCOMES.index("opened"), without)
                known = _find_last_known(seen, days, rows, first, min(end, last))
                found.after[place] = np.where(is_open, found.after[place], known)


def _count(
    until: NDArray[np.int32],
    days: NDArray[np.datetime64],
    rows: NDArray[np.intp],
    first: np.datetime64,
    ends: NDArray[np.datetime64],
) -> NDArray[np.int32]:
    """Return how many days from the first to the end of each row were seen."""
    begin = int(np.searchsorted(days, first))
    stop = np.maximum(np.searchsorted(days, ends, side="right"), begin)
    return until[rows, stop] - until[rows, begin]


def _find_last_known(
    seen: NDArray[np.bool_],
    days: NDArray[np.datetime64],
    rows: NDArray[np.intp],
    first: np.datetime64,
    end: np.datetime64,
) -> NDArray[np.datetime64]:
    """Return the last day up to which every day from the first on was seen; else the day before."""
    if end < first or first < days[0]:
        return np.full(rows.size, first - _ONE)
    part = slice(*np.searchsorted(days, [first, end + _ONE]).tolist())
    unseen = ~seen[rows, part]
    if not unseen.shape[1]:
        return np.full(rows.size, first - _ONE)
    run = np.where(unseen.any(axis=1), unseen.argmax(axis=1), unseen.shape[1])
    return first - _ONE + run.astype("timedelta64[D]")
