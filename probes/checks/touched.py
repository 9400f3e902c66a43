"""Which flags a change of readings touches, and which readings decide them again.

Most tests look days back. Climatology looks years back, though only at the days around the same
date: of each year a window, and not all that lies between.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probes.checks.climatology import find_years_d
from probes.checks.results import TESTS
from probes.checks.thresholds import Thresholds, reach

DAY = np.timedelta64(1, "D")
INSTANT = np.timedelta64(1, "us")

Span = tuple[np.datetime64, np.datetime64]
"""Later than the first instant, up to and including the second; UTC, datetime64[us]."""


@dataclass(frozen=True)
class Pass:
    """Some tests, the spans in which they decide anew, and those whose readings they must see."""

    tests: tuple[str, ...]
    targets: tuple[Span, ...]
    sees: tuple[Span, ...]


def find_passes(
    changed: Span,
    extent: Span,
    thresholds: Thresholds,
    deepest_cm: float,
    tests: Collection[str] = TESTS,
) -> list[Pass]:
    """Return how the flags of a logger are decided again after a change of its readings.

    Parameters
    ----------
    changed : Span
        In which readings are new, gone or other than they were.
    extent : Span
        Of all readings of the logger, those that are gone aside.
    thresholds : Thresholds
    deepest_cm : float
        Of the probes. [cm]
    tests : collection of str
        Of TESTS, which are asked for. Each of TESTS is decided by one pass, asked for or not.
    """
    near_tests = tuple(test for test in TESTS if test != "climatology")
    looks = reach(thresholds, deepest_cm, [test for test in near_tests if test in tests])
    before, after = np.timedelta64(looks.before), np.timedelta64(looks.after)
    target = (changed[0] - after, changed[1] + before)
    near = Pass(
        near_tests,
        _clip([target], extent),
        _clip([(target[0] - before, target[1] + after)], extent),
    )
    if "climatology" not in tests:
        return [Pass(TESTS, near.targets, near.sees)]
    far = _find_far(changed, extent, thresholds, deepest_cm)
    if (near.targets, near.sees) == (far.targets, far.sees):
        return [Pass(TESTS, near.targets, near.sees)]
    return [near, far]


def find_within(observed_at: NDArray[np.datetime64], spans: Sequence[Span]) -> NDArray[np.bool_]:
    """Return which instants lie within one of some spans, these in order and apart."""
    ends = np.array(spans, "datetime64[us]").reshape(-1, 2)
    if not len(ends):
        return np.zeros(observed_at.shape, np.bool_)
    place = np.searchsorted(ends[:, 0], observed_at) - 1
    return (place >= 0) & (observed_at <= ends[place, 1])


def merge_spans(spans: Iterable[Span]) -> list[Span]:
    """Return spans in order, those that overlap or touch as one."""
    merged: list[Span] = []
    for start, end in sorted(spans):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], end))
        else:
            merged.append((start, end))
    return merged


def _find_far(changed: Span, extent: Span, thresholds: Thresholds, deepest_cm: float) -> Pass:
    """Return the pass of climatology: what is a spike is no reading of an earlier year."""
    looks = reach(thresholds, deepest_cm, ("spike",))
    before, after = np.timedelta64(looks.before), np.timedelta64(looks.after)
    around = thresholds.climatology.around_days * DAY
    years = [back_d * DAY for back_d in find_years_d(thresholds.climatology)]
    own = _whole_days((changed[0] - after, changed[1] + before))
    later = [(own[0] + back - around, own[1] + back + around) for back in years]
    targets = _clip([own, *later], extent)
    windows = [
        (start - back - around, end - back + around)
        for start, end in map(_whole_days, targets)
        for back in years
    ]
    sees = [(start - before, end + after) for start, end in (*targets, *windows)]
    return Pass(("climatology",), targets, _clip(sees, extent))


def _whole_days(span: Span) -> Span:
    """Return the days of UTC that a span touches: one begins with its midnight."""
    first, last = (span[0] + INSTANT).astype("M8[D]"), span[1].astype("M8[D]")
    return first.astype("M8[us]") - INSTANT, (last + DAY).astype("M8[us]") - INSTANT


def _clip(spans: Iterable[Span], extent: Span) -> tuple[Span, ...]:
    """Return what of some spans lies within another, in order and apart."""
    first, last = extent
    inside = [(max(start, first), min(end, last)) for start, end in spans]
    return tuple(merge_spans(span for span in inside if span[0] < span[1]))
