"""Rate of change: a reading that rose or fell faster than the soil can at its depth."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from probes.checks.measures import DAMPING_CM, damped, grade
from probes.checks.series import ProbeSeries


@dataclass(frozen=True)
class RateOfChange:
    """How fast a reading may differ from the one before.

    rise_c_per_h : at the surface; ours: 30 degC of daily amplitude [degC/h]
    damping_cm : over which that falls to 1/e [MOENE-2014]
    step_c : what may come at once, at any depth: rain that seeps in; ours [degC]
    longest_gap_h : between the two; ours [h]
    """

    rise_c_per_h: float = 8.0
    damping_cm: float = DAMPING_CM
    step_c: float = 1.0
    longest_gap_h: float = 6.0


def flag_rate_of_change(series: ProbeSeries, rate: RateOfChange) -> NDArray[np.int8]:
    """Return the result of each reading: suspect where it jumped, but not where it came back.

    A reading that takes back a lone jump, to what the reading before that makes believable, is
    good: else every spike would cost the good reading behind it. Not evaluated after a gap.

    References
    ----------
    [IOOS-QARTOD] test 7; its open implementation flags the way back too.
    """
    value_c, step_h = series.soil_temp_c, series.step_h
    excess_c = np.full(value_c.size, np.nan)
    excess_c[1:] = np.abs(np.diff(value_c)) - _limit_c(step_h[1:], series.depth_cm, rate)
    excess_c[step_h > rate.longest_gap_h] = np.nan
    jumped = excess_c > 0
    over_two_c = np.abs(value_c[2:] - value_c[:-2])
    near = over_two_c <= _limit_c(step_h[2:] + step_h[1:-1], series.depth_cm, rate)
    lone = jumped[1:-1] & ~jumped[:-2]
    excess_c[2:][jumped[2:] & lone & near] = 0.0
    return grade(excess_c, 0.0, inf)


def explain_rate_of_change(series: ProbeSeries, place: int, rate: RateOfChange) -> str:
    """Return how a reading jumped."""
    hours = float(series.step_h[place])
    if not hours <= rate.longest_gap_h:
        return f"no reading in the {rate.longest_gap_h:g} h before"
    change_c = float(series.soil_temp_c[place] - series.soil_temp_c[place - 1])
    limit_c = float(_limit_c(series.step_h[place], series.depth_cm, rate))
    return (
        f"{'rose' if change_c > 0 else 'fell'} {abs(change_c):.1f} °C within {hours:.3g} h; "
        f"at {series.depth_cm:g} cm {limit_c:.1f} °C is the limit"
    )


def _limit_c(
    step_h: NDArray[np.float64] | np.float64, depth_cm: float, rate: RateOfChange
) -> NDArray[np.float64]:
    """Return by how much readings may differ over some hours."""
    rise_c_per_h = damped(rate.rise_c_per_h, depth_cm, rate.damping_cm)
    return np.asarray(rate.step_c + rise_c_per_h * step_h)
