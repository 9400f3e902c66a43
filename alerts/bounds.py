"""How far the dates of windows may be off, by gaps in the readings and by errors of the soil.

The error of a soil temperature lasts: a probe that reads high in March reads high in May. So a
series is not blurred day by day but shifted as a whole, up and down, and judged again. Fall opens
by a fall from the highest, in which what lasts all year cancels; but a part of the error goes with
the season (the swing of a sensor, or of soil that is carried or borrowed, is too large or too
small). So two more are shifted along a yearly wave, apart before the date from which fall may start
and the other way after it. The five of each block walk through the one engine in one call.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import tau

import numpy as np
from numpy.typing import NDArray

from alerts.degree_days import by_day_means
from alerts.rules import WindowRule
from alerts.season import season_day
from alerts.windows import Evaluation, Kind, Span, evaluate
from probes.soil.damped_wave import YEAR_D

SHIFT = 1.2816
"""Standard errors that a series is shifted by: four in five normal errors lie within."""

SEASONAL = 0.6
"""Of the error, in the wave of a year: with it four in five starts of fall at [US-TW3], told from
its 8 cm, lie within their ranges, and two in five without (tests.benchmarks.bounds_coverage)."""

FEW_DAYS = 3


@dataclass(frozen=True, slots=True)
class DateRange:
    """The days between which something happened.

    latest : None where, within the error, it has not happened yet or does not happen at all
    """

    earliest: date
    latest: date | None

    def is_wide(self, on: date, not_before: date) -> bool:
        """Return whether errors move the day by more than a few days, gaps aside."""
        return ((not_before - self.earliest) + ((self.latest or on) - on)).days > FEW_DAYS


@dataclass(frozen=True, slots=True)
class Bounds:
    """How far the dates of one span may be off.

    opened : holds the span's opened_on and not_before
    closed : holds its closed_on and closed_not_before where it has closed; None where it is open
        however the series is shifted
    may_pause : whether, within the error, the window closes and opens again more often
    """

    opened: DateRange
    closed: DateRange | None
    may_pause: bool


def evaluate_with_bounds(
    root_zone_c: NDArray[np.float64],
    error_c: NDArray[np.float64],
    days: NDArray[np.datetime64],
    south: NDArray[np.bool_],
    rule: WindowRule,
    as_of: date,
    warmth_c: NDArray[np.float64] | None = None,
) -> list[tuple[Evaluation, list[Bounds]]]:
    """Return what the rule says of each series, and the bounds of each of its spans.

    Parameters
    ----------
    error_c : array, shape (n_series, n_days)
        Standard error of the values. [degC]
    root_zone_c, days, south, rule, as_of, warmth_c : as for alerts.windows.evaluate
    """
    lasting_c = SHIFT * error_c
    seasonal_c = lasting_c * _seasonal(days, south, rule)
    shifts_c = [0 * lasting_c, lasting_c, -lasting_c, seasonal_c, -seasonal_c]
    shifted_c = np.concatenate([root_zone_c + one_c for one_c in shifts_c])
    if warmth_c is not None:
        warmth_c = _shift_warmth(warmth_c, shifted_c, rule)
    found = evaluate(shifted_c, days, np.tile(south, len(shifts_c)), rule, as_of, warmth_c)
    return [
        (
            one,
            find_bounds(
                one.spans, [other.spans for other in found[row + south.size :: south.size]]
            ),
        )
        for row, one in enumerate(found[: south.size])
    ]


def _seasonal(
    days: NDArray[np.datetime64], south: NDArray[np.bool_], rule: WindowRule
) -> NDArray[np.float64]:
    """Return the share of a standard error that goes with the season, series x days."""
    since_d = [
        (days - np.datetime64(season_day(rule.fall_from, 2000, of_south))).astype(np.float64)
        for of_south in (False, True)
    ]
    return SEASONAL * np.sin(tau / YEAR_D * np.array(since_d))[south.astype(int)]


def _shift_warmth(
    warmth_c: NDArray[np.float64], shifted_c: NDArray[np.float64], rule: WindowRule
) -> NDArray[np.float64]:
    """Return the degree-days of shifted days: moved by as much as those of the days' means."""
    lower_c, upper_c = rule.degree_days_lower_c or 0.0, rule.degree_days_upper_c or 0.0
    times = len(shifted_c) // len(warmth_c)
    by_mean_c = by_day_means(shifted_c, lower_c, upper_c)
    moved_c = by_mean_c - np.tile(by_mean_c[: len(warmth_c)], (times, 1))
    return np.clip(np.tile(warmth_c, (times, 1)) + moved_c, 0.0, upper_c - lower_c)


def find_bounds(spans: Sequence[Span], shifted: Sequence[Sequence[Span]]) -> list[Bounds]:
    """Return the bounds of each span, from the spans of the same series shifted.

    Spans are matched within their season and kind: openings by order from the first, closings by
    order from the last, so that one pause more moves neither end. A shifted series that has no
    opening to match may not open; one that never opens says nothing of closings.
    """
    windows = _by_window(spans)
    others = [_by_window(of_series) for of_series in shifted]
    return [
        _bounds(span, windows[_window(span)], [other[_window(span)] for other in others])
        for span in spans
    ]


def _window(span: Span) -> tuple[int, Kind]:
    return span.season, span.kind


def _by_window(spans: Sequence[Span]) -> defaultdict[tuple[int, Kind], list[Span]]:
    windows: defaultdict[tuple[int, Kind], list[Span]] = defaultdict(list)
    for span in spans:
        windows[_window(span)].append(span)
    return windows


def _bounds(span: Span, window: list[Span], others: list[list[Span]]) -> Bounds:
    from_first = window.index(span)
    from_last = from_first - len(window)
    openings = [span, *(_at(other, from_first) for other in others)]
    closings = [span, *(_at(other, from_last) for other in others if other)]
    return Bounds(
        opened=DateRange(
            earliest=min(one.not_before for one in openings if one),
            latest=_latest([one and one.opened_on for one in openings]),
        ),
        closed=_closed(closings),
        may_pause=any(len(other) > len(window) for other in others),
    )


def _closed(closings: list[Span | None]) -> DateRange | None:
    starts = [span.closed_not_before for span in closings if span and span.closed_not_before]
    if not starts:
        return None
    return DateRange(min(starts), _latest([span and span.closed_on for span in closings]))


def _latest(days: list[date | None]) -> date | None:
    known = [day for day in days if day]
    return max(known) if len(known) == len(days) else None


def _at(spans: list[Span], place: int) -> Span | None:
    return spans[place] if -len(spans) <= place < len(spans) else None
