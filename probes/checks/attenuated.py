"""Attenuated signal: readings that move less over days than the soil does at their depth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probes.checks.measures import damped, find_range, grade
from probes.checks.series import ProbeSeries
from probes.frames import GOOD, NOT_EVALUATED


@dataclass(frozen=True)
class Attenuated:
    """How little readings may move.

    window_h : over which their range counts; ours [h]
    suspect_c, fail_c : ranges at the surface below which it is attenuated; ours [degC]
    damping_cm : over which these fall to 1/e; ours: clay, near the other end of [MOENE-2014] [cm]
    longest_gap_h : between readings that cover the window; ours [h]
    zero_curtain_c : as of a flat line, this near to 0 °C nothing is told [degC]
    """

    window_h: float = 120.0
    suspect_c: float = 1.0
    fail_c: float = 0.1
    damping_cm: float = 10.0
    longest_gap_h: float = 6.0
    zero_curtain_c: float = 1.0


def flag_attenuated(series: ProbeSeries, attenuated: Attenuated) -> NDArray[np.int8]:
    """Return the result of each reading.

    Good where the readings of the window range enough; else not evaluated unless they cover it,
    nor where they are all the same: that is for the flat line to judge, by its own times.

    References
    ----------
    [IOOS-QARTOD] test 10, by range.
    """
    range_c, covered = find_range(series, attenuated.window_h, attenuated.longest_gap_h)
    suspect_c, fail_c = _limits_c(series, attenuated)
    result = grade(-range_c, -suspect_c, -fail_c)
    frozen = np.abs(series.soil_temp_c) <= attenuated.zero_curtain_c
    result[(result != GOOD) & (~covered | frozen | (range_c == 0))] = NOT_EVALUATED
    return result


def explain_attenuated(series: ProbeSeries, place: int, attenuated: Attenuated) -> str:
    """Return how little readings have moved."""
    if flag_attenuated(series, attenuated)[place] == NOT_EVALUATED:
        return (
            f"no readings that cover {attenuated.window_h:g} h, or all the same, or near 0 °C, "
            "where soil freezes"
        )
    range_c = find_range(series, attenuated.window_h, attenuated.longest_gap_h)[0][place]
    suspect_c, _ = _limits_c(series, attenuated)
    return (
        f"has moved by {range_c:.3f} °C over {attenuated.window_h:g} h; at "
        f"{series.depth_cm:g} cm {suspect_c:.3f} °C is the least"
    )


def _limits_c(series: ProbeSeries, attenuated: Attenuated) -> tuple[float, float]:
    suspect_c, fail_c = (
        damped(at_surface, series.depth_cm, attenuated.damping_cm)
        for at_surface in (attenuated.suspect_c, attenuated.fail_c)
    )
    return suspect_c, fail_c
