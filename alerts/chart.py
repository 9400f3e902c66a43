"""What the chart of a block shows, and the same in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np
from babel.dates import get_month_names
from numpy.typing import NDArray

from alerts.bounds import Bounds
from alerts.figures import (
    locale_of,
    show_day,
    show_depths,
    show_interval,
    show_limit,
    show_mean,
    show_temperature,
)
from alerts.outlook.fan import Fan
from alerts.windows import Span
from alerts.words import translations
from probes.units import Unit

Limit = Literal["opens", "cold", "hot"]


@dataclass(frozen=True)
class BlockChart:
    """The last days of a block, and what is likely to come.

    root_zone_cm : top and bottom of its root zone
    mean_days : of the trailing mean
    days : (n,) datetime64[D], consecutive, the last one that of the evening it is drawn for
    mean_c : (n,), trailing mean of the root zone, NaN where there is none [degC]
    estimated : (n,), whether it rests on days that were not measured in full
    depths_c : by depth [cm] the daily means, (n,), NaN where there is none [degC]
    spans : the windows that may lie in these days
    bounds : of each span, how far its dates may be off
    limits_c : the limits of the rule that matter now [degC]
    until : the last day of the outlook
    fan : the likely course of the trailing mean; None: there is no outlook
    expected : from when to when the window is likely to be open
    """

    root_zone_cm: tuple[float, float]
    mean_days: int
    days: NDArray[np.datetime64]
    mean_c: NDArray[np.float64]
    estimated: NDArray[np.bool_]
    depths_c: Mapping[float, NDArray[np.float64]]
    spans: Sequence[Span]
    bounds: Sequence[Bounds]
    limits_c: Mapping[Limit, float]
    until: date
    fan: Fan | None
    expected: tuple[date, date] | None

    @property
    def is_empty(self) -> bool:
        """Whether nothing is known of its days, nor of what is to come."""
        known = [self.mean_c, *self.depths_c.values()]
        return self.fan is None and all(bool(np.isnan(one).all()) for one in known)

    @property
    def as_of(self) -> date:
        """The evening it is drawn for."""
        return self.days[-1].item()


@dataclass(frozen=True)
class ChartWords:
    """The words within a chart.

    months : short names, January first
    depths : of each depth of the chart, in its order
    outlook : what its fan is, or that there is nothing to show
    """

    months: tuple[str, ...]
    depths: tuple[str, ...]
    root_zone: str
    estimated: str
    limits: Mapping[Limit, str]
    open: str
    likely_open: str
    outlook: str
    today: str


def word_chart(chart: BlockChart, language: str, unit: Unit) -> ChartWords:
    """Return the words within a chart."""
    _ = translations(language).gettext
    limits: dict[Limit, str] = {
        "opens": _("opens at {limit}"),
        "cold": _("too cold below {limit}"),
        "hot": _("too hot above {limit}"),
    }
    return ChartWords(
        months=tuple(get_month_names("abbreviated", locale=locale_of(language)).values()),
        depths=tuple(show_depths([depth_cm], language) for depth_cm in chart.depths_c),
        root_zone=_("root zone {interval}, {mean}").format(
            interval=show_interval(*chart.root_zone_cm, language),
            mean=show_mean(chart.mean_days, language),
        ),
        estimated=_("the same, estimated"),
        limits={
            name: limits[name].format(limit=show_limit(limit_c, unit, language))
            for name, limit_c in chart.limits_c.items()
        },
        open=_("open"),
        likely_open=_("likely open"),
        outlook=_("no readings") if chart.is_empty else _("outlook, 8 in 10"),
        today=show_day(chart.as_of, language, chart.as_of, short=True),
    )


def tell_days(
    chart: BlockChart, words: ChartWords, language: str, unit: Unit
) -> Iterator[tuple[date, str]]:
    """Yield each day that something is known or expected of, and what, in words."""
    _ = translations(language).gettext

    def tell(day: date, lines: Iterable[str]) -> str:
        return f"{show_day(day, language, chart.as_of)}: {'; '.join(lines)}"

    depths = dict(zip(words.depths, chart.depths_c.values(), strict=True))
    for place, day in enumerate(chart.days.tolist()):
        name = words.estimated if chart.estimated[place] else words.root_zone
        of_day_c = {name: chart.mean_c} | depths
        shown_c = {one: float(c[place]) for one, c in of_day_c.items() if not np.isnan(c[place])}
        line = _("{name} {temperature}")
        lines = [
            line.format(name=one, temperature=show_temperature(temp_c, unit, language))
            for one, temp_c in shown_c.items()
        ]
        if lines:
            yield day, tell(day, lines)
    if chart.fan:
        sides = chart.fan.low_c, chart.fan.middle_c, chart.fan.high_c
        for day, *of_day_c in zip(chart.fan.days.tolist(), *sides, strict=True):
            low, middle, high = (show_temperature(float(c), unit, language) for c in of_day_c)
            line = _("outlook {middle}, in 8 of 10 cases {low} to {high}")
            yield day, tell(day, [line.format(middle=middle, low=low, high=high)])


def describe_chart(chart: BlockChart, language: str, unit: Unit) -> str:
    """Return what a chart shows in a few sentences, for who does not see it."""
    return " ".join(
        [
            *_describe_course(chart, language, unit),
            *_describe_spans(chart, language),
            *_describe_outlook(chart, language, unit),
        ]
    )


def _describe_course(chart: BlockChart, language: str, unit: Unit) -> Iterator[str]:
    _ = translations(language).gettext
    interval = show_interval(*chart.root_zone_cm, language)
    known = np.flatnonzero(~np.isnan(chart.mean_c))
    if not known.size:
        yield _("Chart of the root zone ({interval}), without readings.").format(interval=interval)
        return
    days: list[date] = chart.days.tolist()
    (first, first_day), (last, last_day) = (
        (
            show_temperature(float(chart.mean_c[at]), unit, language),
            show_day(days[at], language, chart.as_of),
        )
        for at in known[[0, -1]].tolist()
    )
    yield _(
        "Chart of the root zone ({interval}), {mean}: {first} on {first_day}, {last} on {last_day}."
    ).format(
        interval=interval,
        mean=show_mean(chart.mean_days, language),
        first=first,
        first_day=first_day,
        last=last,
        last_day=last_day,
    )
    if np.isnan(chart.mean_c[known[0] :]).any():
        yield _("Readings are missing for some of these days.")
    if chart.estimated[known].any():
        yield _("The dashed part of the line is estimated.")


def _describe_spans(chart: BlockChart, language: str) -> Iterator[str]:
    _ = translations(language).gettext
    for span in chart.spans:
        first = show_day(span.opened_on, language, chart.as_of)
        if span.closed_on is None:
            yield _("Open, shaded, since {first}.").format(first=first)
        elif span.closed_on > chart.days[0].item():
            last_on = span.closed_on - timedelta(days=1)
            last = show_day(last_on, language, chart.as_of)
            yield _("Open, shaded, from {first} to {last}.").format(first=first, last=last)


def _describe_outlook(chart: BlockChart, language: str, unit: Unit) -> Iterator[str]:
    _ = translations(language).gettext
    if chart.expected:
        first, last = (show_day(day, language, chart.as_of) for day in chart.expected)
        yield _("Likely open, in a lighter shade, from {first} to {last}.").format(
            first=first, last=last
        )
    if chart.fan and chart.fan.days.size:
        low, high = (
            show_temperature(float(of_days_c[-1]), unit, language)
            for of_days_c in (chart.fan.low_c, chart.fan.high_c)
        )
        yield _("On {day} it is likely, eight times in ten, at {low} to {high}.").format(
            day=show_day(chart.until, language, chart.as_of), low=low, high=high
        )
