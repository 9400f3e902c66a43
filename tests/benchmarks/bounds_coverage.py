"""How often dates lie within the ranges told of them, on real soil.

Run: python -m tests.benchmarks.bounds_coverage

The date of a second sensor and the range of the first: the data have no two sensors at one depth.
What stands in for the second is what the depths above and below say of a depth: it errs by some
tenths of a degree, and not alike all year.

The date by all probes of a root zone and the range by its shallowest alone, carried down: with the
soil as it is and some degrees warmer or colder, so that limits are crossed on other slopes.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from datetime import date

import numpy as np
from numpy.typing import NDArray

from alerts.block_days import ProbeDays, find_block_days
from alerts.bounds import Bounds, evaluate_with_bounds
from alerts.rules import GRAPE_PHYLLOXERA, Kind
from alerts.windows import Span
from probes.checks import ProbeSeries
from probes.daily import find_daily_means
from probes.frames import Readings
from probes.soil.carry import TYPICAL_GROUND, Ground
from tests.soil_days import soil_days
from tests.soil_series import profile, twitchell

ACCURACY_C = 0.2
HOLE_D = 3  # an opening is known with no longer hole before it [d]
WARMER_C = (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0)
CARRIED = (("twitchell", (8, 16, 32)), ("twitchell", (16, 32)), ("profile", (10, 20, 30, 40, 50)))
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


def first_spans(series_c: NDArray, days: NDArray, error_c: NDArray | float = ACCURACY_C) -> First:
    """Return the first span of each window, with its bounds."""
    ((one, bounds),) = evaluate_with_bounds(
        series_c[np.newaxis],
        np.broadcast_to(error_c, (1, days.size)),
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
    """Print both tables."""
    print_twins()
    print()
    print_carried()


def print_twins() -> None:
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
                within[window[1]] += twin is not None and holds(bounds, twin[0])
    print("| opening | seasons x depths | twin within the range |")
    print("|---|---|---|")
    for kind in count:
        print(f"| {kind} | {count[kind]} | {within[kind]} |")


def holds(bounds: Bounds, other: Span) -> bool:
    """Return whether the opening of another span lies within the range of one."""
    return bounds.opened.earliest <= other.opened_on <= (bounds.opened.latest or date.max)


def print_carried() -> None:
    """Print how many openings by all probes fall into the range by the shallowest."""
    print("| soil | opening | seasons x shifts | within the range | width, d | off by, d |")
    print("|---|---|---|---|---|---|")
    for soil, basis_cm in CARRIED:
        days, by_depth = soil_days(soil)
        found: defaultdict[Kind, list[tuple[bool, int, int]]] = defaultdict(list)
        for warmer_c in WARMER_C:
            measured, carried = (
                first_spans_of(days, by_depth, depths_cm, ground, warmer_c)
                for depths_cm, ground in ((basis_cm, None), (basis_cm[:1], TYPICAL_GROUND))
            )
            for window, (span, _) in measured.items():
                if window in carried and (span.opened_on - span.not_before).days <= HOLE_D:
                    ours, bounds = carried[window]
                    opened = bounds.opened
                    width_d = ((opened.latest or date.max) - opened.earliest).days
                    off_d = abs((ours.opened_on - span.opened_on).days)
                    found[window[1]].append((holds(bounds, span), width_d, off_d))
        for kind, rows in found.items():
            within, width_d, off_d = zip(*rows, strict=True)
            cells = [f"{soil}, {basis_cm[0]} cm", kind, len(rows), sum(within)]
            cells += [f"{np.median(width_d):.0f}", f"{np.mean(off_d):.1f}"]
            print("|", " | ".join(map(str, cells)), "|")


def first_spans_of(
    days: NDArray,
    by_depth: dict[int, NDArray],
    depths_cm: tuple[int, ...],
    ground: Ground | None,
    warmer_c: float,
) -> First:
    """Return the first span of each window by some probes, with its bounds."""
    mean_c = np.array([by_depth[one] + warmer_c for one in depths_cm])
    depth_cm = np.repeat(np.array(depths_cm, np.float64)[:, np.newaxis], days.size, axis=1)
    own = ProbeDays(mean_c, np.full(mean_c.shape, ACCURACY_C), depth_cm)
    nothing = np.empty((0, days.size))
    beside = ProbeDays(nothing, nothing, nothing)
    zone = find_block_days(days, own, beside, (15, 45), "even", ground)
    return first_spans(zone.root_zone_c, days, zone.error_c)


if __name__ == "__main__":
    main()
