"""A lost probe bridged by plain loops and one least-squares call: the second implementation."""

from __future__ import annotations

from collections.abc import Sequence
from math import nan, sqrt

import numpy as np

Series = Sequence[float | None]
BACK = (0, 1, 3, 6, 12)


def plain_bridge(lost: Series, others: Sequence[Series]) -> list[tuple[float, float] | None]:
    """Return temperature and error [degC] of each day that is bridged."""
    found: list[tuple[float, float] | None] = [None] * len(lost)
    for day, own in enumerate(lost):
        before = [d for d in range(day) if lost[d] is not None]
        if own is None and before and day - before[-1] <= 21:
            found[day] = bridge_day(lost, others, day, before[-1])
    return found


def bridge_day(
    lost: Series, others: Sequence[Series], day: int, last: int
) -> tuple[float, float] | None:
    """Bridge one day, whose probe was last heard of on day `last`."""
    window = [d for d in range(max(0, last - 59), last + 1) if lost[d] is not None]
    usable = [
        other
        for other in others
        if row(other, day) and sum(row(other, d) is not None for d in window) >= 45
    ][:2]
    days = [d for d in window if all(row(other, d) for other in usable)]
    if len(days) < 45:
        usable = usable[:1]
        days = [d for d in window if all(row(other, d) for other in usable)]
    if not usable:
        return None
    rows = np.array([joined(usable, d) for d in days])
    own = np.array([lost[d] for d in days], np.float64)
    # the ridge as rows of its own: sqrt(0.1) times each weight should be zero
    centre, level = rows.mean(axis=0), own.mean()
    numbers = rows.shape[1]
    padded = np.vstack([rows - centre, sqrt(0.1) * np.eye(numbers)])
    weights, *_ = np.linalg.lstsq(padded, np.concatenate([own - level, np.zeros(numbers)]))
    left = own - level - (rows - centre) @ weights
    today = np.array(joined(usable, day)) - centre
    temp = level + left[-7:].mean() + today @ weights
    neighbours = min(max((left[1:] @ left[:-1]) / (left @ left), 0.0), 0.95)
    stretch = (1 + neighbours) / (1 - neighbours)
    leverage = today @ np.linalg.solve(padded.T @ padded, today)
    variance = left @ left / (len(days) - 1 - numbers)
    error = sqrt(variance * (1 + stretch * (1 / len(days) + leverage)))
    return float(temp), error * sqrt(1 + (day - last) / 7)


def joined(others: Sequence[Series], day: int) -> list[float]:
    """Return the rows of several depths as one."""
    return [one for other in others for one in row(other, day) or []]


def row(other: Series, day: int) -> list[float] | None:
    """Return a day with the days before it, or None where one of them is not known."""
    if other[day] is None:
        return None
    values = [value(other, day - back) for back in BACK]
    return None if any(one != one for one in values) else values


def value(other: Series, day: int) -> float:
    """Return a day, by a straight line over a gap of at most three days, NaN where it is lost."""
    if day < 0:
        return nan
    here = other[day]
    if here is not None:
        return here
    before = next((d for d in range(day, -1, -1) if other[d] is not None), None)
    after = next((d for d in range(day, len(other)) if other[d] is not None), None)
    if before is None or after is None or after - before > 4:
        return nan
    first, second = other[before], other[after]
    assert first is not None
    assert second is not None
    return first + (second - first) * (day - before) / (after - before)
