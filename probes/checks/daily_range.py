"""Daily range: a probe that swings more over a day than the soil does at its depth.

A probe that has come out of the ground follows the air.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from probes.checks.daily_wave import TOLERANCE, DailyWaves
from probes.checks.measures import damped, grade
from probes.checks.series import ProbeSeries


@dataclass(frozen=True)
class DailyRange:
    """How large a daily range is believed.

    surface_c : at the surface; ours: bare dry soil in summer [degC]
    damping_cm : over which it falls to 1/e; ours, so that 1 degC is left at 50 cm; [JACOBS-2011]
        measured 10 [cm]
    margin_c : added at any depth; ours [degC]
    """

    surface_c: float = 45.0
    damping_cm: float = 12.0
    margin_c: float = 0.3


def flag_daily_range(
    series: ProbeSeries, waves: DailyWaves, probe: int, limits: DailyRange
) -> NDArray[np.int8]:
    """Return the result of each reading by the wave of the days up to it, `probe` its column."""
    excess_c = _measure(series, waves, probe) - _limit_c(series, limits)
    return grade(excess_c, TOLERANCE, inf)


def explain_daily_range(
    series: ProbeSeries, place: int, waves: DailyWaves, probe: int, limits: DailyRange
) -> str:
    """Return how far a probe swings over a day."""
    range_c = _measure(series, waves, probe)[place]
    if np.isnan(range_c):
        return "the days before are not covered by readings"
    return (
        f"swings by {range_c:.1f} °C over a day; at {series.depth_cm:g} cm "
        f"{_limit_c(series, limits):.1f} °C is the limit"
    )


def _measure(series: ProbeSeries, waves: DailyWaves, probe: int) -> NDArray[np.float64]:
    """Return the range of the daily wave at each reading."""
    rows = waves.rows(series)
    return np.where(rows < 0, np.nan, 2 * np.abs(waves.wave_c[rows, probe]))


def _limit_c(series: ProbeSeries, limits: DailyRange) -> float:
    return damped(limits.surface_c, series.depth_cm, limits.damping_cm) + limits.margin_c
