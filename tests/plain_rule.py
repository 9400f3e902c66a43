"""The window rule a second time: one series, one plain loop over days, no arrays.

Written from the rule's text alone, so that two readings of it meet. It knows no unit: series and
limits only have to be in the same one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta

from alerts.rules import MonthDay, WindowRule
from alerts.windows import Kind, Reason, Span

ONE_DAY = timedelta(days=1)


def plain_spans(
    root_zone_c: Sequence[float | None],
    first_day: date,
    south: bool,
    rule: WindowRule,
    as_of: date,
    warmth_c: Sequence[float | None] | None = None,
) -> list[Span]:
    """Return the spans in which the window of one series is open, in time order."""
    values = {
        first_day + i * ONE_DAY: value for i, value in enumerate(root_zone_c) if value is not None
    }
    means = trailing_means(values, rule)
    warmth = {
        day: warmth_of(value, rule, warmth_c and warmth_c[(day - first_day).days])
        for day, value in values.items()
    }
    years = range(season_of(first_day, south), season_of(as_of, south) + 1)
    return [
        span for year in years for span in season_spans(means, warmth, year, south, rule, as_of)
    ]


def warmth_of(value_c: float, rule: WindowRule, by_hours_c: float | None) -> float:
    """Return the degree-days of a day: those of its hours where they are known, or of its mean."""
    if by_hours_c is not None or not rule.degree_days:
        return by_hours_c or 0.0
    return max(0.0, min(value_c, rule.degree_days_upper_c) - rule.degree_days_lower_c)


def trailing_means(values: dict[date, float], rule: WindowRule) -> dict[date, float]:
    """Return R for every day that has one."""
    means = {}
    for day in values:
        window = [day - back * ONE_DAY for back in range(rule.mean_days)]
        present = [values[d] for d in window if d in values]
        if len(present) >= rule.mean_needs:
            means[day] = sum(present) / len(present)
    return means


def season_of(day: date, south: bool) -> int:
    """Return the year that names the season a day lies in."""
    return day.year - 1 if south and day.month < 7 else day.year


def date_in_season(north: MonthDay, year: int, south: bool) -> date:
    """Return a date of the rule in one season; a month's last day stays a month's last day."""
    month, day_of_month = north
    if not south:
        return date(year, month, day_of_month)
    if (date(year, month, day_of_month) + ONE_DAY).day == 1:
        return date_in_season((month + 1, 1), year, south) - ONE_DAY
    return (
        date(year, month + 6, day_of_month)
        if month <= 6
        else date(year + 1, month - 6, day_of_month)
    )


def days_between(first: date, end: date) -> Iterator[date]:
    """Yield the days from `first` up to, not including, `end`."""
    for i in range((end - first).days):
        yield first + i * ONE_DAY


def season_spans(
    means: dict[date, float],
    warmth: dict[date, float],
    year: int,
    south: bool,
    rule: WindowRule,
    as_of: date,
) -> list[Span]:
    """Return the spans of one season."""
    spring_from = date_in_season(rule.spring_from, year, south)
    unseen_until = date_in_season(rule.unseen_until, year, south)
    fall_from = date_in_season(rule.fall_from, year, south)
    warm_from = date_in_season(rule.degree_days_since, year, south)
    first_of_season = date_in_season((1, 1), year, south)
    first_of_next = date_in_season((1, 1), year + 1, south)
    opens, hot, cold = rule.spring_opens_c, rule.hot_above_c, rule.cold_below_c
    nearly = rule.tolerance_c

    spans: list[Span] = []
    first_spring: date | None = None
    fall_started = False
    highest = float("-inf")
    a_day_was_below = False
    warm_enough = rule.degree_days != "condition"
    total = 0.0
    last_day_with_mean: date | None = None
    after: dict[Kind, Reason | None] = {"spring": None, "fall": None}

    def is_open(*kinds: Kind) -> bool:
        return bool(spans) and spans[-1].closed_on is None and spans[-1].kind in kinds

    def open_span(kind: Kind, day: date, may_open_from: date) -> None:
        unseen_since = last_day_with_mean + ONE_DAY if last_day_with_mean else first_of_season
        spans.append(Span(year, kind, day, max(unseen_since, may_open_from), None, None))

    def close_span(day: date, reason: Reason) -> None:
        unseen_since = last_day_with_mean + ONE_DAY
        spans[-1] = replace(spans[-1], closed_on=day, reason=reason, closed_not_before=unseen_since)
        after[spans[-1].kind] = reason

    for day in days_between(first_of_season, min(first_of_next, as_of + ONE_DAY)):
        # 1. Spent: by the calendar, whether the day has a mean or not.
        spent = first_spring is not None and (day - first_spring).days >= rule.spring_days
        if spent and is_open("spring"):
            close_span(day, "spent")

        if day >= warm_from:
            total += warmth.get(day, 0.0)
            warm_enough = warm_enough or total >= rule.degree_days_sum_c - nearly
        if day not in means:
            continue
        mean = means[day]
        highest = max(highest, mean)

        # 2. Turned.
        if (
            not fall_started
            and day >= fall_from
            and highest >= opens - nearly
            and mean <= highest - rule.fall_drop_c + nearly
        ):
            fall_started = True
            if is_open("spring"):
                close_span(day, "turned")
            if mean < cold - nearly:
                after["fall"] = "cold"  # it has the margin to climb

        # 3. Close.
        if is_open("spring", "fall"):
            if mean < cold - nearly:
                close_span(day, "cold")
            elif mean > hot + nearly:
                close_span(day, "hot")

        # 4. Open.
        kind: Kind = "fall" if fall_started else "spring"
        not_too_cold = opens if kind == "spring" else cold
        not_too_hot = hot
        if after["fall"] == "cold":
            not_too_cold = cold + rule.margin_c
        if after[kind] == "hot":
            not_too_hot = hot - rule.margin_c
        in_range = not_too_cold - nearly <= mean <= not_too_hot + nearly
        early_and_mild = day <= unseen_until and mean <= rule.unseen_max_c + nearly
        start_seen = first_spring is not None or a_day_was_below or early_and_mild
        if in_range and not is_open("spring", "fall") and kind in rule.windows:
            if fall_started:
                open_span("fall", day, fall_from)
            elif day >= spring_from and not spent and start_seen and warm_enough:
                open_span("spring", day, spring_from)
                first_spring = first_spring or day

        a_day_was_below = a_day_was_below or mean < opens - nearly
        last_day_with_mean = day

    if is_open("spring", "fall") and as_of >= first_of_next:
        close_span(first_of_next, "season over")
    return spans
