"""What the probes of a block say of its soil: waves at each depth, how heat moves in between."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import nan

import numpy as np
from numpy.typing import NDArray

from probes.soil.damped_wave import YEAR_D, damping_depth_m
from probes.soil.diffusivity import DAILY_D, Diffusivity, find_diffusivity, without_trend
from probes.soil.harmonics import Harmonics, fit_harmonics

RECENT_DAYS = 60
"""The daily wave is that of the latest weeks: it is not one the year round."""
LEAST_DAYS = 300
"""Of a year, for its wave to be told."""
LEAST_HOURS = 18
AGREED = 1.5
"""Within this factor the four methods agree; beyond it the soil does more than conduct. Ours."""


@dataclass(frozen=True)
class DepthWaves:
    """The waves at one depth; NaN where there are too few readings for one.

    yearly_c, daily_c : half of the range [degC]
    yearly_se_c, daily_se_c : standard errors of these [degC]
    warmest_d : when in the year it is warmest, from the start of 1 January [d]
    warmest_h : when in the day [h]
    """

    depth_cm: float
    mean_c: float
    yearly_c: float
    yearly_se_c: float
    warmest_d: float
    daily_c: float
    daily_se_c: float
    warmest_h: float


@dataclass(frozen=True)
class Layer:
    """The soil between two depths."""

    upper_cm: float
    lower_cm: float
    diffusivity: Diffusivity

    @property
    def is_agreed(self) -> bool:
        """Whether the four methods agree, so that one diffusivity describes the layer."""
        return self.diffusivity.disagreement <= AGREED

    @property
    def damping_depths_m(self) -> tuple[float, float]:
        """The daily and the yearly damping depth, by the median of the methods [m]."""
        best = self.diffusivity.best
        return damping_depth_m(best, 1.0), damping_depth_m(best, YEAR_D)


def survey(
    time_d: NDArray[np.float64], hourly_c: NDArray[np.float64], depths_cm: Sequence[float]
) -> tuple[list[DepthWaves], list[Layer]]:
    """Return the waves at each depth, and the soil between neighbours.

    Parameters
    ----------
    time_d : array, shape (n,)
        Consecutive hours of local standard time, in days since 1970, whole days. [d]
    hourly_c : array, shape (n_depths, n)
        NaN where missing. [degC]
    depths_cm : sequence, ascending

    Layers come from the last 60 days, and without one where the readings are too few. Yearly waves
    need 300 days of a year.

    References
    ----------
    [HORTON-1983] for the four methods, [HILLEL-1982] for the damped wave.
    """
    recent = slice(-24 * RECENT_DAYS, None)
    waves = [
        _waves(depth_cm, time_d, value_c, recent)
        for depth_cm, value_c in zip(depths_cm, hourly_c, strict=True)
    ]
    layers = []
    for upper, lower in pairwise(range(len(depths_cm))):
        try:
            found = find_diffusivity(
                time_d[recent],
                hourly_c[upper, recent],
                hourly_c[lower, recent],
                (depths_cm[lower] - depths_cm[upper]) / 100,
            )
        except ValueError:  # too few readings
            continue
        layers.append(Layer(depths_cm[upper], depths_cm[lower], found))
    return waves, layers


def _waves(
    depth_cm: float, time_d: NDArray[np.float64], hourly_c: NDArray[np.float64], recent: slice
) -> DepthWaves:
    by_day_c = hourly_c.reshape(-1, 24)
    known = np.isfinite(by_day_c).sum(axis=1) >= LEAST_HOURS
    daily_c = np.full(known.size, nan)
    daily_c[known] = np.nanmean(by_day_c[known], axis=1)
    yearly = None
    if known[-365:].sum() >= LEAST_DAYS:
        noon_d = time_d.reshape(-1, 24).mean(axis=1)
        yearly = fit_harmonics(noon_d, daily_c, (YEAR_D, YEAR_D / 2))
    try:
        daily = fit_harmonics(time_d[recent], without_trend(hourly_c[recent]), DAILY_D)
    except ValueError:  # too few readings
        daily = None
    return DepthWaves(
        depth_cm,
        yearly.mean_c if yearly else nan,
        *_first(yearly),
        *(_first(daily)[:2]),
        _first(daily)[2] * 24,
    )


def _first(found: Harmonics | None) -> tuple[float, float, float]:
    """Return amplitude [degC], its standard error [degC] and peak [d] of the first wave."""
    if found is None:
        return nan, nan, nan
    return float(found.amplitude_c[0]), float(found.wave_se_c[0]), float(found.peak_d[0])
