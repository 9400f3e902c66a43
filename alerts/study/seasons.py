"""What became of each season of many series under several rules, as arrays."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from alerts.bounds import evaluate_with_bounds
from alerts.rules import Kind, WindowRule
from alerts.season import season_day, season_of, season_start
from alerts.windows import Span, find_spans_by_rule, trailing_mean

Outcome = Literal["opened", "not reached", "not yet", "not seen", "no readings"]
"""Why there is no opening: not reached by the end of its season, seen in full; not yet, seen in
full so far; not seen, but days are missing in which it may have opened; nothing to see at all."""

OUTCOMES: tuple[Outcome, ...] = get_args(Outcome)
KINDS: tuple[Kind, ...] = get_args(Kind)
_ONE = np.timedelta64(1, "D")
_NAT = np.datetime64("NaT", "D")
_EPOCH = date(1970, 1, 1).toordinal()


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
    closed_not_before : datetime64[D], from when on it may have closed unseen; closed_on where no
        days are missing
    closed_earliest, closed_latest : datetime64[D], the same within the errors; NaT as above
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
    closed_not_before: NDArray[np.datetime64]
    closed_earliest: NDArray[np.datetime64]
    closed_latest: NDArray[np.datetime64]
    open_d: NDArray[np.int32]
    stretches: NDArray[np.int16]
    seen_d: NDArray[np.int32]
    asked_d: NDArray[np.int32]


@dataclass(frozen=True)
class _Seen:
    """Which days up to the last that counts have a value of R.

    day : (n_days,) datetime64[D]
    seen : (n_series, n_days)
    until : (n_series, n_days + 1), how many before each position
    """

    day: NDArray[np.datetime64]
    seen: NDArray[np.bool_]
    until: NDArray[np.int32]


def find_seasons(
    root_zone_c: NDArray[np.float64],
    error_c: NDArray[np.float64] | None,
    days: NDArray[np.datetime64],
    south: NDArray[np.bool_],
    rules: Sequence[WindowRule],
    as_of: date,
) -> Iterator[Seasons]:
    """Yield, for each rule, what became of every season that the days touch.

    Parameters
    ----------
    error_c : array, shape (n_series, n_days), or None
        Standard error of the values; None leaves out `earliest` and `latest`. [degC]
    root_zone_c, days, south, as_of : as for alerts.windows.evaluate; days must not be empty
    """
    first, last = days[0].item(), min(days[-1].item(), as_of)
    seasons = np.arange(
        min(season_of(first, one) for one in (False, True)),
        max(season_of(max(as_of, last), one) for one in (False, True)) + 1,
        dtype=np.int16,
    )
    by_rule: list[list[list[Span]]] = []
    if error_c is None:
        by_rule = find_spans_by_rule(root_zone_c, days, south, rules, as_of)
    seen_by_mean: dict[tuple[int, int], _Seen] = {}
    for number, rule in enumerate(rules):
        found = _nothing(south.size, seasons)
        if error_c is None:
            spans, by_rule[number] = by_rule[number], []
        else:
            bounded = evaluate_with_bounds(root_zone_c, error_c, days, south, rule, as_of)
            spans = [evaluation.spans for evaluation, _ in bounded]
            for series, (evaluation, bounds) in enumerate(bounded):
                for span, of_span in zip(evaluation.spans, bounds, strict=True):
                    place = series, span.season - int(seasons[0]), KINDS.index(span.kind)
                    if np.isnat(found.earliest[place]):  # the first opening, and the last close
                        found.earliest[place] = of_span.opened.earliest
                        found.latest[place] = of_span.opened.latest or _NAT
                    closed = of_span.closed
                    found.closed_earliest[place] = closed.earliest if closed else _NAT
                    found.closed_latest[place] = (closed and closed.latest) or _NAT
        _keep_spans(found, spans, as_of)
        mean = rule.mean_days, rule.mean_needs
        if mean not in seen_by_mean:
            seen_by_mean[mean] = _find_seen(root_zone_c, days, rule, as_of)
        _judge_what_was_seen(found, seen_by_mean[mean], south, rule, as_of)
        yield found


def _nothing(n_series: int, seasons: NDArray[np.int16]) -> Seasons:
    """Return seasons of which nothing is known."""
    shape = n_series, seasons.size, len(KINDS)
    return Seasons(
        season=seasons,
        outcome=np.full(shape, OUTCOMES.index("no readings"), np.int8),
        after=np.full(shape, _NAT),
        opened_on=np.full(shape, _NAT),
        earliest=np.full(shape, _NAT),
        latest=np.full(shape, _NAT),
        closed_on=np.full(shape, _NAT),
        closed_not_before=np.full(shape, _NAT),
        closed_earliest=np.full(shape, _NAT),
        closed_latest=np.full(shape, _NAT),
        open_d=np.zeros(shape, np.int32),
        stretches=np.zeros(shape, np.int16),
        seen_d=np.zeros(shape, np.int32),
        asked_d=np.zeros(shape, np.int32),
    )


def _find_seen(
    root_zone_c: NDArray[np.float64], days: NDArray[np.datetime64], rule: WindowRule, as_of: date
) -> _Seen:
    seen = ~np.isnan(trailing_mean(np.ascontiguousarray(root_zone_c.T), rule)).T
    seen &= days <= np.datetime64(as_of, "D")
    until = np.zeros((seen.shape[0], days.size + 1), np.int32)
    until[:, 1:] = seen.cumsum(axis=1)
    return _Seen(days, seen, until)


def _keep_spans(found: Seasons, spans: Sequence[Sequence[Span]], as_of: date) -> None:
    still_open = (as_of + timedelta(days=1)).toordinal()
    rows = [
        (
            series,
            span.season,
            KINDS.index(span.kind),
            span.opened_on.toordinal(),
            span.not_before.toordinal(),
            span.closed_on.toordinal() if span.closed_on else still_open,
            (span.closed_not_before or date.max).toordinal(),
            span.closed_on is None,
        )
        for series, of_series in enumerate(spans)
        for span in of_series
    ]
    if not rows:
        return
    series, season, kind, opened, not_before, closed, not_closed, is_open = np.array(rows).T
    window = np.stack([series, season - found.season[0], kind])
    is_first = np.append(True, np.diff(window).any(axis=0))  # those of a window stand together
    first = np.flatnonzero(is_first)
    last = np.append(first[1:], series.size) - 1
    place = tuple(window[:, first])
    found.outcome[place] = OUTCOMES.index("opened")
    found.opened_on[place] = _to_days(opened[first])
    found.after[place] = _to_days(not_before[first]) - _ONE
    found.closed_on[place] = np.where(is_open[last], _NAT, _to_days(closed[last]))
    found.closed_not_before[place] = np.where(is_open[last], _NAT, _to_days(not_closed[last]))
    found.open_d[place] = np.add.reduceat(closed - opened, first)
    found.stretches[place] = last - first + 1


def _to_days(ordinal: NDArray[np.int64]) -> NDArray[np.datetime64]:
    return (ordinal - _EPOCH).astype("datetime64[D]")


def _judge_what_was_seen(
    found: Seasons,
    of: _Seen,
    south: NDArray[np.bool_],
    rule: WindowRule,
    as_of: date,
) -> None:
    """Say of each season how much of it was seen, and what that makes of one without an opening."""
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
                seen_d = _count(of, rows, first, ends)
                found.asked_d[place], found.seen_d[place] = asked_d, seen_d
                whole = (seen_d == asked_d) & (asked_d > 0)
                without = np.select(
                    [seen_d == 0, ~whole, np.full(rows.size, last < end)],
                    [OUTCOMES.index(one) for one in ("no readings", "not seen", "not yet")],
                    OUTCOMES.index("not reached"),
                )
                found.outcome[place] = np.where(is_open, OUTCOMES.index("opened"), without)
                known = _find_last_known(of, rows, first, min(end, last))
                found.after[place] = np.where(is_open, found.after[place], known)


def _count(
    of: _Seen,
    rows: NDArray[np.intp],
    first: np.datetime64,
    ends: NDArray[np.datetime64],
) -> NDArray[np.int32]:
    """Return how many days from the first to the end of each row were seen."""
    begin = int(np.searchsorted(of.day, first))
    stop = np.maximum(np.searchsorted(of.day, ends, side="right"), begin)
    return of.until[rows, stop] - of.until[rows, begin]


def _find_last_known(
    of: _Seen,
    rows: NDArray[np.intp],
    first: np.datetime64,
    end: np.datetime64,
) -> NDArray[np.datetime64]:
    """Return the last day up to which every day from the first on was seen; else the day before."""
    if end < first or first < of.day[0]:
        return np.full(rows.size, first - _ONE)
    part = slice(*np.searchsorted(of.day, [first, end + _ONE]).tolist())
    unseen = ~of.seen[rows, part]
    if not unseen.shape[1]:
        return np.full(rows.size, first - _ONE)
    run = np.where(unseen.any(axis=1), unseen.argmax(axis=1), unseen.shape[1])
    return first - _ONE + run.astype("timedelta64[D]")
