"""The rows behind the chart of a block, by the names that service.charts.drawn gives them."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from alerts.chart import BlockChart, ChartWords, Limit
from probes.units import Unit, from_c

WIDTH_PX = 352
_LETTER_PX, _AROUND_PX = 7, 8  # of the words in shaded spans
_NEAR_HOT_C = 3.0  # from where on the limit of heat is shown
_OPEN_SHADE, _LIKELY_SHADE = 0.5, 0.25

Rows = list[dict[str, Any]]


def find_rows(chart: BlockChart, words: ChartWords, unit: Unit) -> dict[str, Rows]:
    """Return all rows: days in ms, temperatures in the reader's unit, None where there is none."""
    fan = _fan_rows(chart, unit)
    return {
        "spans": _span_rows(chart, words),
        "limits": _limit_rows(chart, words, unit),
        "depths": _depth_rows(chart, words, unit),
        "root zone": _root_zone_rows(chart, words, unit),
        "fan": fan,
        "outlook": [{"word": words.outlook}] if fan or chart.is_empty else [],
        "today": [{"day": to_ms(chart.as_of), "word": words.today}] * (chart.until > chart.as_of),
        "nothing": [{}],
    }


def find_limits_c(chart: BlockChart) -> dict[Limit, float]:
    """Return the limits that are shown: that of heat only where the soil gets near it."""
    hottest_c = np.nanmax(chart.mean_c, initial=-np.inf)
    return {
        name: limit_c
        for name, limit_c in chart.limits_c.items()
        if name != "hot" or hottest_c > limit_c - _NEAR_HOT_C
    }


def to_ms(day: date) -> int:
    """Return a day as milliseconds since 1970, as times stand in a specification."""
    return (day - date(1970, 1, 1)).days * 86_400_000


def _rows(days: NDArray[np.datetime64], **columns: NDArray[np.float64]) -> Rows:
    return [
        {"day": to_ms(day)}
        | {
            name: None if np.isnan(values[i]) else round(float(values[i]), 2)
            for name, values in columns.items()
        }
        for i, day in enumerate(days.tolist())
    ]


def _depth_rows(chart: BlockChart, words: ChartWords, unit: Unit) -> Rows:
    return [
        {**row, "name": name}
        for name, depth_c in zip(words.depths, chart.depths_c.values(), strict=True)
        for row in _rows(chart.days, temp=from_c(depth_c, unit))
    ]


def _root_zone_rows(chart: BlockChart, words: ChartWords, unit: Unit) -> Rows:
    """Return the line in two parts that meet: as it was measured, and as it was estimated."""
    mean, estimated = from_c(chart.mean_c, unit), chart.estimated.copy()
    estimated[:-1] |= chart.estimated[1:]
    parts = {words.root_zone: ~chart.estimated, words.estimated: estimated}
    return [
        {**row, "name": name}
        for name, is_part in parts.items()
        for row in _rows(chart.days, temp=np.where(is_part, mean, np.nan))
    ]


def _fan_rows(chart: BlockChart, unit: Unit) -> Rows:
    """Return the outlook, from the end of the line on where it follows at once."""
    fan = chart.fan
    if fan is None or not fan.days.size:
        return []
    known = np.flatnonzero(~np.isnan(chart.mean_c))
    follows = known.size and chart.days[known[-1]] + 1 == fan.days[0]
    end = known[-1:] if follows else known[:0]
    sides_c = {"low": fan.low_c, "middle": fan.middle_c, "high": fan.high_c}
    sides = {
        side: from_c(np.concatenate([chart.mean_c[end], of_days_c]), unit)
        for side, of_days_c in sides_c.items()
    }
    return _rows(np.concatenate([chart.days[end], fan.days]), **sides)


def _span_rows(chart: BlockChart, words: ChartWords) -> Rows:
    """Return what is shaded: open, open unless its dates are off, and likely to be open."""
    shaded: list[tuple[date, date, float, str]] = []
    tomorrow = chart.as_of + timedelta(days=1)
    for bounds in chart.bounds:
        opened, closed = bounds.opened, bounds.closed
        last = tomorrow if closed is None else closed.latest or tomorrow
        sure = opened.latest or last, last if closed is None else closed.earliest
        if sure[0] >= sure[1]:
            shaded.append((opened.earliest, last, _LIKELY_SHADE, ""))
            continue
        shaded += [
            (opened.earliest, sure[0], _LIKELY_SHADE, ""),
            (*sure, _OPEN_SHADE, words.open),
            (sure[1], last, _LIKELY_SHADE, ""),
        ]
    if chart.expected:
        shaded.append((*chart.expected, _LIKELY_SHADE, words.likely_open))
    first = chart.days[0].item()
    day_px = WIDTH_PX / (chart.until - first).days
    rows: Rows = []
    for begins_on, ends_on, shade, word in shaded:
        begin, end = max(begins_on, first), min(ends_on, chart.until)
        has_room = _LETTER_PX * len(word) + _AROUND_PX <= (end - begin).days * day_px
        if begin < end:
            row = {"day": to_ms(begin), "end": to_ms(end), "shade": shade}
            rows.append({**row, "word": word if has_room else ""})
    return rows


def _limit_rows(chart: BlockChart, words: ChartWords, unit: Unit) -> Rows:
    return [
        {"temp": from_c(limit_c, unit), "word": words.limits[name], "below": name != "opens"}
        for name, limit_c in find_limits_c(chart).items()
    ]
