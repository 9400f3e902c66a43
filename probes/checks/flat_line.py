"""Flat line: a reading that repeats those before it for longer than the soil does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probes.checks.measures import find_range
from probes.checks.series import ProbeSeries
from probes.frames import FAIL, GOOD, NOT_EVALUATED, SUSPECT


@dataclass(frozen=True)
class FlatLine:
    """For how long readings may stay the same.

    tolerance_c : within which they are the same; ours: a stuck sensor repeats itself [degC]
    suspect_h, fail_h : at the surface; ours [h]
    slower_per_cm : the share by which each cm of depth lengthens these: the wave of a day is gone
        at 50 cm, and near the turn of the year a coarse sensor repeats itself for days; ours
    longest_gap_h : between readings that cover the time; ours [h]
    zero_curtain_c : soil that freezes or thaws, or lies under snow, stays this near to 0 °C for
        weeks, and no flat line tells it from a stuck sensor; ours [degC]
    """

    tolerance_c: float = 0.0
    suspect_h: float = 24.0
    fail_h: float = 72.0
    slower_per_cm: float = 0.2
    longest_gap_h: float = 6.0
    zero_curtain_c: float = 1.0


def flag_flat_line(series: ProbeSeries, flat: FlatLine) -> NDArray[np.int8]:
    """Return the result of each reading.

    Good where readings differ within the time; else not evaluated unless they cover it.

    References
    ----------
    [IOOS-QARTOD] test 8, in hours and not in samples.
    """
    slower = find_slower(series.depth_cm, flat)
    if np.isnan(slower):
        return np.full(series.soil_temp_c.size, NOT_EVALUATED, np.int8)
    range_c, covered = find_range(series, flat.suspect_h * slower, flat.longest_gap_h)
    result = np.where(covered, SUSPECT, NOT_EVALUATED).astype(np.int8)
    if (covered & (range_c <= flat.tolerance_c)).any():  # else none has for the longer time
        long_range_c, long_covered = find_range(series, flat.fail_h * slower, flat.longest_gap_h)
        result[long_covered & (long_range_c <= flat.tolerance_c)] = FAIL
    result[np.abs(series.soil_temp_c) <= flat.zero_curtain_c] = NOT_EVALUATED
    result[range_c > flat.tolerance_c] = GOOD
    return result


def explain_flat_line(series: ProbeSeries, place: int, flat: FlatLine) -> str:
    """Return for how long readings have stayed the same."""
    slower = find_slower(series.depth_cm, flat)
    result = int(flag_flat_line(series, flat)[place])
    hours = slower * (flat.fail_h if result == FAIL else flat.suspect_h)
    if result == NOT_EVALUATED:
        return f"the same, but not covering {hours:g} h, or near 0 °C, where soil freezes"
    within = f"within {flat.tolerance_c:g} °C" if flat.tolerance_c else "the same"
    return f"has stayed {within} for {hours:g} h, the limit at {series.depth_cm:g} cm"


def find_slower(depth_cm: float, flat: FlatLine) -> float:
    """Return how many times the surface's hours count at a depth."""
    return 1.0 + flat.slower_per_cm * depth_cm
