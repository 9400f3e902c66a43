"""Spike: a reading that stands out of the two beside it.

Causally the two are those before it: a true step of the soil looks the same until a further
reading is there. The later check, where it is asked for, judges a reading between the one before
and the one after, and so takes back what was no spike. Measured from the span between the two and
not from their mean, as in [IOOS-QARTOD] test 6: good readings beside a spike are none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probes.checks.measures import DAMPING_CM, damped, distance_outside, grade
from probes.checks.series import ProbeSeries


@dataclass(frozen=True)
class Spike:
    """By how much a reading may stand out.

    suspect_c, fail_c : beyond the two beside it, and beyond what the soil may rise or fall since
        the reading before, which a later reading makes needless; ours [degC]
    rise_c_per_h : that rise, at the surface; ours: 30 degC of daily amplitude [degC/h]
    damping_cm : over which it falls to 1/e [MOENE-2014]
    longest_gap_h : between readings that lie beside each other; ours [h]
    later : whether the reading after it is waited for
    """

    suspect_c: float = 3.0
    fail_c: float = 10.0
    rise_c_per_h: float = 8.0
    damping_cm: float = DAMPING_CM
    longest_gap_h: float = 3.0
    later: bool = False


def flag_spike(series: ProbeSeries, spike: Spike) -> NDArray[np.int8]:
    """Return the result of each reading; not evaluated without two readings beside it."""
    return grade(_measure(series, spike), spike.suspect_c, spike.fail_c)


def explain_spike(series: ProbeSeries, place: int, spike: Spike) -> str:
    """Return why a reading is a spike."""
    excess_c = _measure(series, spike)[place]
    if np.isnan(excess_c):
        return f"no two readings beside it, each within {spike.longest_gap_h:g} h"
    limit_c = spike.fail_c if excess_c > spike.fail_c else spike.suspect_c
    return (
        f"stands out by {excess_c:.1f} °C more than the soil does at {series.depth_cm:g} cm; "
        f"{limit_c:g} °C is the limit"
    )


def _measure(series: ProbeSeries, spike: Spike) -> NDArray[np.float64]:
    value_c, step_h = series.soil_temp_c, series.step_h
    beside = step_h <= spike.longest_gap_h
    excess_c = np.full(value_c.size, np.nan)
    rise_c_per_h = damped(spike.rise_c_per_h, series.depth_cm, spike.damping_cm)
    out_c = distance_outside(value_c[2:], value_c[1:-1], value_c[:-2])
    known = beside[2:] & beside[1:-1]
    excess_c[2:][known] = np.maximum(out_c - rise_c_per_h * step_h[2:], 0.0)[known]
    if spike.later:
        out_c = distance_outside(value_c[1:-1], value_c[:-2], value_c[2:])
        excess_c[1:-1][known] = out_c[known]
    return excess_c
