"""The tables of a report."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from math import isinf
from typing import Any

import numpy as np
from pandas import isnull

from alerts.rules import WindowRule
from service.study.days import StudyDays
from service.study.methods import list_rule, show_limit
from service.study.summaries import VARIANT, Key, PlaceDifference, Summary, tell_pairing
from service.study.words import (
    instant_of,
    name_place,
    show_day,
    show_days,
    show_difference,
    show_middle,
    show_trend,
)

_OPENS_F = VARIANT.index("spring_opens_f")
_Rows = Iterable[tuple[Summary | PlaceDifference, Sequence[str]]]


@dataclass(frozen=True)
class Table:
    """A table of texts."""

    caption: str
    head: Sequence[str]
    rows: Sequence[Sequence[str]]


def list_places(days: StudyDays) -> Table:
    rows: list[Sequence[str]] = []
    for place, mean_c in zip(days.places, days.mean_c, strict=True):
        there = np.flatnonzero(~np.isnan(mean_c))
        if there.size:
            first, last = days.day[there[0]], days.day[there[-1]]
            span_d = int(there[-1] - there[0]) + 1
            height = "not given" if place.elevation_m is None else f"{place.elevation_m:g}"
            rows.append(
                (
                    place.name, f"{place.latitude:g}", f"{place.longitude:g}", height,
                    str(first), str(last), f"{there.size} of {span_d}",
                    str(int(np.diff(there, append=there[-1] + 1).max()) - 1),
                )
            )  # fmt: skip
    head = (
        "place", "latitude", "longitude", "height [m]", "first day", "last day",
        "days with a mean", "longest gap [d]",
    )  # fmt: skip
    return Table("What was measured where.", head, rows)


def list_seasons(frame: Any) -> Table:
    """List what became of each window, under one rule."""
    asked = frame[frame["asked_d"] > 0]
    rows = [
        (
            name_place((one.site, one.block, one.depth_cm)),
            str(one.season),
            one.kind,
            _show_opening(one),
            _show_range(one.opened_earliest, one.opened_latest),
            "" if isnull(one.closed_on) else show_days(one.closed_not_before, one.closed_on),
            _show_range(one.closed_earliest, one.closed_latest),
            f"{one.open_d}" if one.stretches else "",
            f"{one.seen_d} of {one.asked_d}",
        )
        for one in asked.itertuples(index=False)
    ]
    head = (
        "place", "season", "window", "opened", "within errors", "closed", "within errors",
        "open [d]", "days seen",
    )  # fmt: skip
    caption = (
        f"Each season, spring opening at {show_limit(asked['spring_opens_c'].iloc[0])}. A range "
        "is that of a gap in the readings. Within errors: as far as the errors of the temperatures "
        "move it. Open: in all, where it paused as well. Days seen: of those on which it may open."
    )
    return Table(caption, head, rows)


def _show_opening(one: Any) -> str:
    if isnull(one.opened_on):
        return one.outcome
    return show_days(one.after + timedelta(days=1), one.opened_on)


def _show_range(earliest: Any, latest: Any) -> str:
    if isnull(earliest):
        return ""
    return f"{show_day(earliest)} or never" if isnull(latest) else show_days(earliest, latest)


def show_rule(rule: WindowRule) -> Table:
    caption = (
        f"The rule {rule.name}; temperatures in °C, dates as month and day north of the equator, "
        "six months later south of it. Keys in brackets: references."
    )
    return Table(caption, ("number", "value", "origin"), list(list_rule(rule)))


def list_summaries(summaries: Sequence[Summary]) -> Iterator[Table]:
    """Yield a table for spring and one for fall, of each rule."""
    head = (
        "place", "spring opens at [°F]", "seasons", "half by", "as far as gaps leave open", "trend",
    )  # fmt: skip
    rows = [
        (
            one,
            [
                _show_counts(one),
                show_middle(one.middle, one.south),
                _show_middle_range(one),
                show_trend(one.trend) if one.trend else "too few seasons",
            ],
        )
        for one in summaries
    ]
    yield from _list_by_rule(rows, head, "Seasons together")


def list_differences(differences: Sequence[PlaceDifference], against: str) -> Iterator[Table]:
    """Yield the same of how places differ, where any are held against another."""
    head = (
        "place", "spring opens at [°F]", "mean difference", "as far as gaps leave open [d]",
    )  # fmt: skip
    rows = [
        (
            one,
            [
                show_difference(one.difference),
                f"{one.difference.least:+.1f} to {one.difference.most:+.1f}",
            ],
        )
        for one in differences
        if one.difference
    ]
    yield from _list_by_rule(rows, head, tell_pairing(against))


def _show_counts(one: Summary) -> str:
    texts = [f"{count} {outcome}" for outcome, count in one.counts.items()]
    if one.counts.get("opened", 0) > one.known:
        texts[[*one.counts].index("opened")] += f", {one.known} known to the day"
    return ", ".join(texts)


def _show_middle_range(one: Summary) -> str:
    if one.middle is None:
        return ""
    least = instant_of(one.middle.least, one.south)
    if isinf(one.middle.most):
        return f"{show_day(least)} or never"
    return show_days(least, instant_of(one.middle.most, one.south))


def _list_by_rule(rows: _Rows, head: Sequence[str], caption: str) -> Iterator[Table]:
    """Yield a table for spring and one for fall, of each rule: limits that change nothing in one
    row."""
    limits: dict[Key, dict[tuple[Any, ...], list[float]]] = defaultdict(lambda: defaultdict(list))
    for one, cells in rows:
        rest = one.variant[:_OPENS_F], one.variant[_OPENS_F + 2 :]
        limits[rest][name_place(one.place), *cells].append(one.variant[_OPENS_F])
    for ((rule,), (margin_f, mean_days, kind)), alike in limits.items():
        yield Table(
            f"{caption}. {kind.capitalize()}, {rule}, margin {margin_f:g} °F, mean of {mean_days} "
            "days.",
            head,
            [
                (place, ", ".join(f"{limit:g}" for limit in limits_f), *cells)
                for (place, *cells), limits_f in alike.items()
            ],
        )
