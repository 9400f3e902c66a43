"""How often the date of a second sensor falls into the range of the first, on real soil.

Run: python -m tests.benchmarks.bounds_coverage

The data have no two sensors at one depth. What stands in for the second is what the depths above
and below say of a depth: it errs by some tenths of a degree, and not alike all year.
"""

from __future__ import annotations

from collections import Counter
from datetime import date

import numpy as np
from numpy.typing import NDArray

from alerts.bounds import Bounds, evaluate_with_bounds
from alerts.rules import GRAPE_PHYLLOXERA, Kind
from alerts.windows import Span
from probes.checks import ProbeSeries
from probes.daily import find_daily_means
from probes.frames import Readings
from tests.soil_series import profile, twitchell

ACCURACY_C = 0.2
First = dict[tuple[int, Kind], tuple[Span, Bounds]]


def daily_c(probes: tuple[ProbeSeries, ...], hours_west: int) -> tuple[NDArray, NDArray]:
    """Return days, and the daily means of each probe on them [degC]."""
    found = []
    for probe in probes:
        good = np.ones(probe.observed_at.size, np.int8)
        readings = Readings(probe.observed_at, probe.soil_temp_c, good)
        found.append(find_daily_means(readings, -60 * hours_west, 60, False))
    first, last = min(one.day[0] for one in found), max(one.day[-1] for one in found)
    days = np.arange(first, last + 1)
    mean_c = np.full((len(found), days.size), np.nan)
    for row, one in zip(mean_c, found, strict=True):
        row[(one.day - first).astype(int)] = np.where(one.complete, one.mean_c, np.nan)
    return days, mean_c


def first_spans(series_c: NDArray, days: NDArray) -> First:
    """Return the first span of each window, with its bounds."""
    errors_c = np.full((1, days.size), ACCURACY_C)
    ((one, bounds),) = evaluate_with_bounds(
        series_c[np.newaxis],
        errors_c,
        days,
        np.zeros(1, bool),
        GRAPE_PHYLLOXERA,
        days[-1].item(),
    )
    first: First = {}
    for span, of_span in zip(one.spans, bounds, strict=True):
        first.setdefault((span.season, span.kind), (span, of_span))
    return first


def main() -> None:
    """Print, for each kind of window, how many dates of the twin fall into the range."""
    within, count = Counter(), Counter()
    for probes, hours_west in ((twitchell(), 8), (profile(), 7)):
        days, mean_c = daily_c(probes, hours_west)
        depths_cm = np.array([probe.depth_cm for probe in probes])
        for above, at in enumerate(range(1, depths_cm.size - 1)):
            below = at + 1
            share = (depths_cm[at] - depths_cm[above]) / (depths_cm[below] - depths_cm[above])
            twin_c = (1 - share) * mean_c[above] + share * mean_c[below]
            seen = ~np.isnan(twin_c) & ~np.isnan(mean_c[at])
            ours, theirs = (
                first_spans(np.where(seen, series_c, np.nan), days)
                for series_c in (mean_c[at], twin_c)
            )
            for window, (span, bounds) in ours.items():
                if span.not_before < span.opened_on:
                    continue  # a gap, within which everything falls
                count[window[1]] += 1
                twin = theirs.get(window)
                latest = bounds.opened.latest or date.max
                within[window[1]] += (
                    twin is not None and bounds.opened.earliest <= twin[0].opened_on <= latest
                )
    print("| opening | seasons x depths | twin within the range |")
    print("|---|---|---|")
    for kind in count:
        print(f"| {kind} | {count[kind]} | {within[kind]} |")


if __name__ == "__main__":
    main()
