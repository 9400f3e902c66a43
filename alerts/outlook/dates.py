"""When a block's window will open and close: dates and their chances, by its members."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from alerts.outlook.air import Air
from alerts.outlook.courses import Course, Lent, place_in_season, run_members, season_days
from alerts.outlook.curves import Curves
from alerts.rules import WindowRule
from alerts.season import season_day, season_of, season_start
from alerts.windows import Kind, Span, trailing_mean

MEMBERS = 500
COOL_CHANCE = 0.1
"""Below this chance of any opening the warmest weeks are named instead."""
GOES_ON = timedelta(days=7)
"""A nowcast says for as long that a window has probably closed; then what comes after it."""
_OUTSIDE = 0.1


@dataclass(frozen=True)
class Chances:
    """When something happens, by the members.

    chance : that it happens this season
    by_now, within_7_d, within_14_d : that it has happened by the day of issue, a week on, two on
    p10, p50, p90 : its likely days; None where that is not this season
    """

    chance: float
    by_now: float
    within_7_d: float
    within_14_d: float
    p10: date | None
    p50: date | None
    p90: date | None


@dataclass(frozen=True)
class WarmWeeks:
    """The warmest time of a season by its likely course, for a block that may not open.

    first, last : the days between which the trailing mean stays at or above the cold limit; None
        where it does not get there
    peak_on, peak_c : its highest [degC]
    """

    first: date | None
    last: date | None
    peak_on: date
    peak_c: float


@dataclass(frozen=True)
class Outlook:
    """What is to come for one block in the season of its day of issue, or in the one after it.

    last_day : the last root-zone day that it rests on; None where the season of its day of issue
        has none
    kind : of the next window to open; of the open one while one is open on `last_day`
    opens : None while one is open on `last_day`
    closes : when the window of `opens`, or the open one, closes next
    warm_weeks : where a spring opening has become unlikely, and the warmest time is not over
    open_chances : of being open on the day of issue and every seventh day after it, to the season's
        end
    """

    season: int
    issued_on: date
    last_day: date | None
    kind: Kind
    opens: Chances | None
    closes: Chances
    warm_weeks: WarmWeeks | None
    open_chances: tuple[float, ...] = ()

    @property
    def is_over(self) -> bool:
        """Whether no window of the season is likely to open any more, nor is its warmest time."""
        return bool(self.opens and self.opens.chance < COOL_CHANCE and not self.warm_weeks)

    @property
    def opens_soon(self) -> float:
        """The chance that the window opens within 14 days."""
        return self.opens.within_14_d if self.opens else 0.0

    @property
    def open_now(self) -> float:
        """The chance that the window is open on the day of issue."""
        return (1.0 if self.opens is None else self.opens.by_now) - self.closes.by_now


def find_outlooks(
    root_zone_c: NDArray[np.float64],
    days: NDArray[np.datetime64],
    curves: Curves,
    south: bool,
    rule: WindowRule,
    as_of: date,
    rngs: Sequence[np.random.Generator],
    members: int = MEMBERS,
    lent: Lent | None = None,
    air: Sequence[Air | None] = (),
) -> list[Outlook]:
    """Return the outlook of each block on the evening of `as_of`, for the season of that day; for
    the one after it where no window of this one is likely any more.

    Parameters
    ----------
    root_zone_c : array, shape (n_blocks, n_days)
        Root-zone daily mean; NaN where the day has no value. Later days are ignored. [degC]
    days : array of datetime64[D], shape (n_days,)
        Consecutive days of local standard time, ascending.
    curves : Curves
        One a block, from days outside the season.
    south : bool
        Whether the blocks lie south of the equator.
    rngs : sequence of Generator
        One a block, so that a block's outlook does not depend on which others are asked for.
    members : int
        Even.
    lent : Lent, optional
        Days that members follow after a block's own, each shifted by an error of its own.
    air : sequence of Air or None, optional
        One a block.

    Where the last days have no value, members begin after the last that has one: the outlook is
    then a nowcast as well. Missing days before it stay missing.
    """
    season = season_of(as_of, south)
    whole = season_days(season, south, rule)
    observed_c = place_in_season(root_zone_c, days, whole, as_of)
    if lent is not None:
        lent = Lent(place_in_season(lent.root_zone_c, days, whole, as_of), lent.error_c)
    courses = run_members(observed_c, season, curves, south, rule, rngs, members, lent, air)
    found = [_gather(course, season, as_of, whole, rule, south) for course in courses]
    over = [row for row, one in enumerate(found) if one.is_over]
    if not over:
        return found
    ahead = run_members(
        observed_c[over],
        season,
        curves.take(np.array(over)),
        south,
        rule,
        [rngs[row] for row in over],
        members // 4 * 2,  # a season ahead dates need fewer
        lent and Lent(lent.root_zone_c[over], lent.error_c[over]),
        next_one=True,
    )
    whole = season_days(season + 1, south, rule)
    for row, course in zip(over, ahead, strict=True):
        found[row] = _gather(course, season + 1, as_of, whole, rule, south)
    return found


def _gather(
    course: Course,
    season: int,
    as_of: date,
    days: NDArray[np.datetime64],
    rule: WindowRule,
    south: bool,
) -> Outlook:
    """Return the outlook that the members of one block make."""
    spans, known = course.spans, course.last_day or date.min
    next_ones = [_next_span(of_member, season, known) for of_member in spans]
    had_spring = any(span.season == season and span.opened_on <= known for span in spans[0])
    if _is_long_closed(next_ones, as_of):
        after = as_of - GOES_ON
        next_ones = [_next_span(of_member, season, after) for of_member in spans]
        had_spring = True
    kinds = [span.kind for span in next_ones if span]
    fall_from = season_day(rule.fall_from, season, south)
    usual: Kind = "fall" if had_spring or as_of >= fall_from else "spring"
    if usual not in rule.windows:
        usual = rule.windows[0]
    kind = max(("spring", "fall"), key=kinds.count) if kinds else usual
    awaited = [span if span and span.kind == kind else None for span in next_ones]
    is_open = any(span and span.opened_on <= known for span in awaited)
    opens = _chances([span.opened_on if span else None for span in awaited], as_of)
    closes = _chances([span.closed_on if span else None for span in awaited], as_of)
    warm_weeks = None
    if "spring" in rule.windows and not had_spring and len(kinds) < COOL_CHANCE * len(spans):
        warm_weeks = _find_warm_weeks(days, course.likely_c, rule, as_of)
    return Outlook(
        season,
        as_of,
        course.last_day,
        kind,
        None if is_open else opens,
        closes,
        warm_weeks,
        _find_open_chances(spans, as_of, season_start(season_of(as_of, south) + 1, south)),
    )


def _find_open_chances(
    spans: Sequence[Sequence[Span]], as_of: date, stop: date
) -> tuple[float, ...]:
    """Return the share of members that are open on `as_of` and every seventh day up to `stop`."""
    n_days = (stop - as_of).days
    turns = np.zeros(n_days + 1)
    for of_member in spans:
        for span in of_member:
            begin = max((span.opened_on - as_of).days, 0)
            end = min((span.closed_on - as_of).days, n_days) if span.closed_on else n_days
            if begin < end:
                turns[begin] += 1
                turns[end] -= 1
    return tuple((np.cumsum(turns[:-1]) / len(spans)).round(3)[::7].tolist())


def _is_long_closed(spans: Sequence[Span | None], as_of: date) -> bool:
    """Return whether nearly all members had closed a window long before the day of issue."""
    long_ago = as_of - GOES_ON
    closed = sum(bool(one and one.closed_on and one.closed_on <= long_ago) for one in spans)
    return closed >= (1 - _OUTSIDE) * len(spans)


def _next_span(spans: Sequence[Span], season: int, known: date) -> Span | None:
    """Return the span that is open on a day, or else the next one."""
    for span in spans:
        if span.season == season and (span.closed_on is None or span.closed_on > known):
            return span
    return None


def _chances(happens_on: Sequence[date | None], as_of: date) -> Chances:
    lead_d = np.array([(day - as_of).days if day else np.inf for day in happens_on])
    by_now, within_7_d, within_14_d = (float((lead_d <= ahead_d).mean()) for ahead_d in (0, 7, 14))
    p10, p50, p90 = (
        None if np.isinf(lead) else as_of + timedelta(days=int(lead))
        for lead in likely_days(lead_d)
    )
    chance = float(np.isfinite(lead_d).mean())
    return Chances(chance, by_now, within_7_d, within_14_d, p10, p50, p90)


def likely_days(day: NDArray[np.float64]) -> tuple[float, float, float]:
    """Return p10, median and p90 of the days, infinite for never, on which members see something.

    Days are whole: the ends are those that leave most nearly a tenth of the members outside, so
    that the days between, both ends included, hold most nearly eight of ten.
    """
    ordered = np.sort(day)
    each = np.unique(ordered)
    earlier = np.searchsorted(ordered, each, "left") / day.size
    later = 1 - np.searchsorted(ordered, each, "right") / day.size
    return (
        float(each[np.argmin(np.abs(earlier - _OUTSIDE))]),
        float(ordered[(day.size - 1) // 2]),
        float(each[np.argmin(np.abs(later - _OUTSIDE))]),
    )


def _find_warm_weeks(
    days: NDArray[np.datetime64], likely_c: NDArray[np.float64], rule: WindowRule, as_of: date
) -> WarmWeeks | None:
    """Return the warmest weeks; None where they are over, or it is no lack of warmth."""
    mean_c = trailing_mean(likely_c, rule)
    peak = int(np.nanargmax(mean_c))
    cold = np.flatnonzero(mean_c < rule.cold_below_c - rule.tolerance_c)
    after = int(np.searchsorted(cold, peak))
    reached = after == cold.size or cold[after] != peak
    begin = int(cold[after - 1]) + 1 if after else 0
    stop = int(cold[after]) if after < cold.size else days.size
    first, last = (days[begin].item(), days[stop - 1].item()) if reached else (None, None)
    found = WarmWeeks(first, last, days[peak].item(), float(mean_c[peak]))
    is_over = (found.last or found.peak_on) <= as_of
    return None if is_over or found.peak_c >= rule.spring_opens_c else found
