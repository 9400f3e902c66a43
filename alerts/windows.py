"""The window engine: when each series' scouting windows opened and closed.

The rule is the one of WindowRule, computed on R, the trailing mean of root-zone days. All series of
one hemisphere walk through the days together; whatever a day needs to know of the past is a vector
over the series (_Walk), so that one block, ten thousand blocks, the members of an outlook and a
series under twenty thresholds are the same call. Evaluation depends on nothing but (root-zone days,
rule, as_of).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import inf
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from alerts.degree_days import by_day_means
from alerts.rules import Kind, WindowRule
from alerts.season import season_day, season_of, season_start

Reason = Literal["spent", "turned", "cold", "hot", "season over"]

_SERIES_AT_ONCE = 4096  # enough to share what each day costs by itself
_NEVER = np.iinfo(np.int32).min // 2


@dataclass(frozen=True, slots=True)
class Span:
    """One stretch in which a window was open.

    season : its year; south of the equator the year in which the season began
    opened_on : the day on which the rule was first met
    not_before : the first day on which it may have opened unseen; opened_on where no readings
        are missing
    closed_on : the first day that is no longer open; None while it is open
    closed_not_before : the first day on which it may have closed unseen; closed_on where no
        readings are missing, None while it is open
    """

    season: int
    kind: Kind
    opened_on: date
    not_before: date
    closed_on: date | None
    reason: Reason | None
    closed_not_before: date | None = None


@dataclass(frozen=True, slots=True)
class Standing:
    """Where one series stands in the season of `as_of`, besides its spans.

    mean_c, mean_on : the latest R of the season and its day [degC]
    highest_c : the highest R of the season so far [degC]
    below_seen : whether a day of the season had R below the spring limit
    turned_on : the day on which fall started
    degree_days_c : the sum of degree-days so far, None where the rule asks for none [degC d]
    opens_from_c, opens_to_c : between which R the window may open next, or again; infinite where
        nothing opens any more, or before fall has started [degC]
    """

    season: int
    mean_c: float | None
    mean_on: date | None
    highest_c: float | None
    below_seen: bool
    turned_on: date | None
    degree_days_c: float | None = None
    opens_from_c: float = inf
    opens_to_c: float = inf


@dataclass(frozen=True, slots=True)
class Evaluation:
    """What the rule says of one series: its spans in time order, and where it stands."""

    spans: list[Span]
    standing: Standing


def find_spans(
    root_zone_c: NDArray[np.float64],
    days: NDArray[np.datetime64],
    south: NDArray[np.bool_],
    rule: WindowRule,
    as_of: date,
) -> list[list[Span]]:
    """Return, for each series, the spans in which its scouting window is open.

    Parameters and References as for `evaluate`.
    """
    return find_spans_by_rule(root_zone_c, days, south, [rule], as_of)[0]


def find_spans_by_rule(
    root_zone_c: NDArray[np.float64],
    days: NDArray[np.datetime64],
    south: NDArray[np.bool_],
    rules: Sequence[WindowRule],
    as_of: date,
) -> list[list[list[Span]]]:
    """Return the same under each rule; those that differ in `spring_opens_c` and `margin_c` alone
    walk together, and share the trailing mean."""
    found: list[list[list[Span]]] = [[[] for _ in range(south.size)] for _ in rules]
    alike: dict[WindowRule, list[int]] = {}
    for number, rule in enumerate(rules):
        alike.setdefault(replace(rule, name="", spring_opens_c=0.0, margin_c=0.0), []).append(
            number
        )
    for numbers in alike.values():
        together = [rules[number] for number in numbers]
        for some, walk in _walk_all(root_zone_c, days, south, together, as_of, None):
            of_each = iter(walk.spans)
            for number in numbers:
                for series in some.tolist():
                    found[number][series] = next(of_each)
    return found


def evaluate(
    root_zone_c: NDArray[np.float64],
    days: NDArray[np.datetime64],
    south: NDArray[np.bool_],
    rule: WindowRule,
    as_of: date,
    warmth_c: NDArray[np.float64] | None = None,
) -> list[Evaluation]:
    """Return, for each series, its open spans and where it stands on the evening of `as_of`.

    Parameters
    ----------
    root_zone_c : array, shape (n_series, n_days)
        Root-zone daily mean; NaN where the day has no value. [degC]
    days : array of datetime64[D], shape (n_days,)
        Consecutive days of local standard time, ascending.
    south : array, shape (n_series,)
        Whether the site lies south of the equator.
    rule : WindowRule
        Thresholds [degC], trailing mean [days].
    as_of : date
        The last day that counts. Later days are ignored; days from the last of `days` up to it
        are days without a value.
    warmth_c : array, shape (n_series, n_days), optional
        The degree-days of each day where its hours gave them, for a rule that sums them; without
        one, and on a day of NaN, they are those of the day's mean. A day without a value adds
        nothing, so that a spring that waits for a sum never opens too early. [degC d]

    A day without R opens and closes nothing, but spring is spent by the calendar, and what is open
    when a season ends is closed on the first day of the next.

    Raises
    ------
    ValueError
        When `days` are not consecutive or the shapes do not fit.

    References
    ----------
    [UC-PHYLLOXERA] for the cold limit, [FISHER-2003] for the hot one; the spring limit is common
    practice without a source.
    """
    found: dict[int, Evaluation] = {}
    for some, walk in _walk_all(root_zone_c, days, south, [rule], as_of, warmth_c):
        for one, series in enumerate(some.tolist()):
            found[series] = Evaluation(walk.spans[one], walk.standing(one))
    return [found[series] for series in range(south.size)]


def _walk_all(
    root_zone_c: NDArray[np.float64],
    days: NDArray[np.datetime64],
    south: NDArray[np.bool_],
    rules: Sequence[WindowRule],
    as_of: date,
    warmth_c: NDArray[np.float64] | None,
) -> Iterator[tuple[NDArray[np.intp], _Walk]]:
    """Yield some of the series at a time, each once, with their walk through all days.

    rules : alike but for `spring_opens_c` and `margin_c`
    """
    rule, at_once = rules[0], max(1, _SERIES_AT_ONCE // len(rules))
    days = days.astype("datetime64[D]")
    if root_zone_c.shape != (south.size, days.size):
        raise ValueError(f"{root_zone_c.shape} is not {south.size} series x {days.size} days")
    if days.size and (np.diff(days) != np.timedelta64(1, "D")).any():
        raise ValueError("days are not consecutive; fill the missing ones with NaN")
    n_seen = int(np.searchsorted(days, np.datetime64(as_of, "D"), side="right"))
    first_day = days[0].item() if n_seen else as_of
    n_days = max((as_of - first_day).days + 1, 1)
    for hemisphere in (False, True):
        members = np.flatnonzero(south == hemisphere)
        for start in range(0, members.size, at_once):
            some = members[start : start + at_once]
            mean_c = np.full((n_days, some.size), np.nan)
            day_by_day_c = np.ascontiguousarray(root_zone_c[some, :n_seen].T)
            mean_c[:n_seen] = trailing_mean(day_by_day_c, rule)
            warmth = None
            if rule.degree_days:
                warmth = np.zeros(mean_c.shape)
                by_hours_c = None if warmth_c is None else warmth_c[some, :n_seen].T
                warmth[:n_seen] = _find_warmth(day_by_day_c, by_hours_c, rule)
            walk = _Walk(mean_c, first_day, hemisphere, rules, warmth)
            walk.run()
            yield some, walk


def trailing_mean(root_zone_c: NDArray[np.float64], rule: WindowRule) -> NDArray[np.float64]:
    """Return R, the mean of each day and the days before it, for days x series.

    Parameters
    ----------
    root_zone_c : array, shape (n_days, ...)
        Root-zone daily mean; NaN where the day has no value. [degC]

    Returns
    -------
    array, same shape
        NaN on a day without a value, and where fewer than `rule.mean_needs` of the
        `rule.mean_days` days have one. [degC]
    """
    measured = ~np.isnan(root_zone_c)
    value_c = np.where(measured, root_zone_c, 0.0)
    total_c = value_c.copy()
    count = measured.astype(np.int8)
    for back in range(1, rule.mean_days):
        total_c[back:] += value_c[:-back]
        count[back:] += measured[:-back]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(measured & (count >= rule.mean_needs), total_c / count, np.nan)


def _find_warmth(
    root_zone_c: NDArray[np.float64], by_hours_c: NDArray[np.float64] | None, rule: WindowRule
) -> NDArray[np.float64]:
    """Return the degree-days of each day, by its hours or else by its mean; 0 where unknown."""
    lower_c, upper_c = rule.degree_days_lower_c or 0.0, rule.degree_days_upper_c or 0.0
    by_mean_c = by_day_means(root_zone_c, lower_c, upper_c)
    if by_hours_c is None:
        return np.nan_to_num(by_mean_c)
    unknown = np.isnan(by_hours_c) | np.isnan(by_mean_c)
    return np.nan_to_num(np.where(unknown, by_mean_c, by_hours_c))


class _Walk:
    """One walk of some series through the days, under each rule; indices of days count from the
    first day, and all series under the first rule come before those under the next."""

    def __init__(
        self,
        mean_c: NDArray[np.float64],
        first_day: date,
        south: bool,
        rules: Sequence[WindowRule],
        warmth_c: NDArray[np.float64] | None,
    ) -> None:
        self.warmth_c, rule = warmth_c, rules[0]
        self.mean_c, self.first_day, self.south, self.rule = mean_c, first_day, south, rule
        self.n_days, self.n_series = mean_c.shape
        self.n_rules, self.n = len(rules), len(rules) * self.n_series
        opens_c = np.array([one.spring_opens_c for one in rules]) - rule.tolerance_c
        self.opens_c = np.repeat(opens_c, self.n_series)
        self.margin_c = np.repeat([one.margin_c for one in rules], self.n_series)
        self.cold_c = rule.cold_below_c - rule.tolerance_c
        self.hot_c = rule.hot_above_c + rule.tolerance_c
        self.dates: dict[int, date] = {}
        self.open = np.zeros(self.n, bool)
        self.opening: list[tuple[int, Kind, date, date]] = [
            (0, "spring", first_day, first_day)
        ] * self.n
        self.spans: list[list[Span]] = [[] for _ in range(self.n)]
        self.begin_season(season_of(first_day, south))

    def begin_season(self, season: int) -> None:
        """Forget the season before: from here on only this one's days count."""
        rule, south = self.rule, self.south
        self.season = season
        self.start = self.index(season_start(season, south))
        self.next_start = self.index(season_start(season + 1, south))
        self.spring_from = self.index(season_day(rule.spring_from, season, south))
        self.unseen_until = self.index(season_day(rule.unseen_until, season, south))
        self.fall_from = self.index(season_day(rule.fall_from, season, south))
        self.warm_from = self.index(season_day(rule.degree_days_since, season, south))
        self.sum_c = np.zeros(self.n)
        self.highest_c = np.full(self.n, -np.inf)
        self.below_seen = np.zeros(self.n, bool)
        self.last_mean = np.full(self.n, _NEVER, np.int32)
        self.spring_first = np.full(self.n, _NEVER, np.int32)
        self.turned_at = np.full(self.n, _NEVER, np.int32)
        self.in_fall = np.zeros(self.n, bool)
        # the limits between which each series may open next; infinite once spring is spent
        self.low_c = self.opens_c.copy()
        self.high_c = np.full(self.n, self.hot_c)
        self.spent_at: dict[int, list[NDArray[np.intp]]] = {}

    def run(self) -> None:
        """Walk through all days."""
        for day in range(self.n_days):
            if day == self.next_start:
                self.close(np.flatnonzero(self.open), day, "season over")
                self.begin_season(self.season + 1)
            for series in self.spent_at.get(day, ()):
                in_spring = series[~self.in_fall[series]]
                self.close(in_spring[self.open[in_spring]], day, "spent")
                self.low_c[in_spring] = np.inf
            self.judge(day, self.under_each(self.mean_c[day]))
        for series in np.flatnonzero(self.open).tolist():
            self.spans[series].append(Span(*self.opening[series], closed_on=None, reason=None))

    def under_each(self, of_series: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return what holds for a series, whatever its rule."""
        return of_series if self.n_rules == 1 else np.tile(of_series, self.n_rules)

    def judge(self, day: int, mean_c: NDArray[np.float64]) -> None:
        """Apply the rule to one day: turned, close, open. A NaN meets no limit."""
        rule = self.rule
        if self.warmth_c is not None and day >= self.warm_from:
            self.sum_c += self.under_each(self.warmth_c[day])
        np.fmax(self.highest_c, mean_c, out=self.highest_c)
        if day >= self.fall_from:
            fallen = mean_c <= self.highest_c - (rule.fall_drop_c - rule.tolerance_c)
            turned = fallen & ~self.in_fall & (self.highest_c >= self.opens_c)
            if turned.any():
                self.turn(np.flatnonzero(turned), day, mean_c)
        if self.open.any():
            cold = np.flatnonzero(self.open & (mean_c < self.cold_c))
            hot = np.flatnonzero(self.open & (mean_c > self.hot_c))
            if cold.size or hot.size:
                self.pause(cold, hot, day)
        within = (mean_c >= self.low_c) & (mean_c <= self.high_c) & ~self.open
        if within.any():
            self.try_to_open(np.flatnonzero(within), day, mean_c)
        self.below_seen |= mean_c < self.opens_c
        self.last_mean[~np.isnan(mean_c)] = day

    def turn(self, series: NDArray[np.intp], day: int, mean_c: NDArray[np.float64]) -> None:
        """Start fall; its first opening knows no margin unless it starts in the cold."""
        self.close(series[self.open[series]], day, "turned")
        self.in_fall[series] = True
        self.turned_at[series] = day
        cold_start = mean_c[series] < self.cold_c
        self.low_c[series] = self.cold_c + self.margin_c[series] * cold_start
        self.high_c[series] = self.hot_c

    def pause(self, cold: NDArray[np.intp], hot: NDArray[np.intp], day: int) -> None:
        """Close what has become too cold or too hot, and set what it takes to open again."""
        self.close(cold, day, "cold")
        self.close(hot, day, "hot")
        again_c = self.cold_c + self.margin_c[cold]
        self.low_c[cold] = np.where(self.in_fall[cold], again_c, self.opens_c[cold])
        self.high_c[cold] = self.hot_c
        self.low_c[hot] = np.where(self.in_fall[hot], self.cold_c, self.opens_c[hot])
        self.high_c[hot] = self.hot_c - self.margin_c[hot]

    def try_to_open(self, series: NDArray[np.intp], day: int, mean_c: NDArray[np.float64]) -> None:
        """Open those, of the series whose R lies within their limits, that the season allows."""
        rule = self.rule
        fall = self.in_fall[series]
        start_known = self.below_seen[series] | (self.spring_first[series] != _NEVER)
        if day <= self.unseen_until:
            start_known |= mean_c[series] <= rule.unseen_max_c + rule.tolerance_c
        spring = ~fall & start_known & (day >= self.spring_from)
        if rule.degree_days == "condition" and rule.degree_days_sum_c is not None:
            spring &= self.sum_c[series] >= rule.degree_days_sum_c - rule.tolerance_c
        if "fall" in rule.windows:
            self.begin(series[fall], "fall", day, self.fall_from)
        if "spring" not in rule.windows:
            return
        first = series[spring & (self.spring_first[series] == _NEVER)]
        if first.size:
            self.spring_first[first] = day
            self.spent_at.setdefault(day + rule.spring_days, []).append(first)
        self.begin(series[spring], "spring", day, self.spring_from)

    def begin(self, series: NDArray[np.intp], kind: Kind, day: int, kind_from: int) -> None:
        """Open a span of each; where readings are missing before it, it may have opened earlier."""
        self.open[series] = True
        not_before = np.maximum(self.last_mean[series] + 1, max(self.start, kind_from))
        for one, first in zip(series.tolist(), not_before.tolist(), strict=True):
            self.opening[one] = (self.season, kind, self.date(day), self.date(first))

    def close(self, series: NDArray[np.intp], day: int, reason: Reason) -> None:
        """Close the open spans of these series."""
        self.open[series] = False
        closed_on, after_last = self.date(day), (self.last_mean[series] + 1).tolist()
        for one, first in zip(series.tolist(), after_last, strict=True):
            season, kind, opened_on, not_before = self.opening[one]
            span = Span(season, kind, opened_on, not_before, closed_on, reason, self.date(first))
            self.spans[one].append(span)

    def standing(self, one: int) -> Standing:
        last, turned = int(self.last_mean[one]), int(self.turned_at[one])
        known = last != _NEVER
        return Standing(
            season=self.season,
            mean_c=float(self.mean_c[last, one % self.n_series]) if known else None,
            mean_on=self.date(last) if known else None,
            highest_c=float(self.highest_c[one]) if known else None,
            below_seen=bool(self.below_seen[one]),
            turned_on=self.date(turned) if turned != _NEVER else None,
            degree_days_c=None if self.warmth_c is None else float(self.sum_c[one]),
            opens_from_c=float(self.low_c[one]) + self.rule.tolerance_c,
            opens_to_c=float(self.high_c[one]) - self.rule.tolerance_c,
        )

    def index(self, day: date) -> int:
        return (day - self.first_day).days

    def date(self, index: int) -> date:
        # the members of an outlook share few days, and making one takes longer than finding it
        if index not in self.dates:
            self.dates[index] = self.first_day + timedelta(days=index)
        return self.dates[index]
