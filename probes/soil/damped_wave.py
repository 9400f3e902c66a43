"""A wave of temperature that goes down into uniform soil: it shrinks and comes later with depth."""

from __future__ import annotations

from dataclasses import dataclass
from math import acos, exp, log, pi, sqrt, tau

import numpy as np
from numpy.typing import NDArray

S_PER_DAY = 86_400.0
YEAR_D = 365.2425


def damping_depth_m(diffusivity_m2_s: float, period_d: float) -> float:
    """Return the depth over which a wave shrinks by the factor e, and turns by one radian [m].

    Parameters
    ----------
    diffusivity_m2_s : float
        Thermal diffusivity of the soil. [m2/s]
    period_d : float
        Of the wave: 1 for the daily, `YEAR_D` for the annual one. [d]

    References
    ----------
    [HILLEL-1982].
    """
    return sqrt(diffusivity_m2_s * period_d * S_PER_DAY / pi)


@dataclass(frozen=True)
class DampedWave:
    """One wave under a surface, T(z,t) = mean - A exp(-z/d) cos(2 pi (t - coldest)/P - z/d).

    With d = sqrt(diffusivity P / pi) this is also the ground temperature of [KUSUDA-1965].

    mean_c : at every depth [degC]
    surface_amplitude_c : half of the range at the surface [degC]
    coldest_d : a time at which the surface is coldest [d]
    diffusivity_m2_s : thermal diffusivity [m2/s]
    period_d : [d]
    """

    mean_c: float
    surface_amplitude_c: float
    coldest_d: float
    diffusivity_m2_s: float
    period_d: float

    @property
    def damping_depth_m(self) -> float:
        """The depth over which the wave shrinks by the factor e [m]."""
        return damping_depth_m(self.diffusivity_m2_s, self.period_d)

    def amplitude_c(self, depth_m: float) -> float:
        """Return half of the range at a depth [degC]."""
        return self.surface_amplitude_c * exp(-depth_m / self.damping_depth_m)

    def lag_d(self, depth_m: float) -> float:
        """Return how much later than at the surface the wave comes at a depth [d]."""
        return depth_m / self.damping_depth_m * self.period_d / tau

    def temp_c(self, depth_m: float, time_d: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Return the temperature at a depth at some times [degC]."""
        since_coldest_d = np.asarray(time_d) - self.coldest_d - self.lag_d(depth_m)
        wave = np.cos(tau / self.period_d * since_coldest_d)
        return self.mean_c - self.amplitude_c(depth_m) * wave

    def crossing_days(self, depth_m: float, threshold_c: float) -> tuple[float, float] | None:
        """Return when a depth warms and when it cools through a threshold [d].

        The first pair from the depth's coldest time on; None where the wave does not reach the
        threshold.
        """
        height = (self.mean_c - threshold_c) / self.amplitude_c(depth_m)
        if abs(height) >= 1:
            return None
        coldest_here_d = self.coldest_d + self.lag_d(depth_m)
        up_d = acos(height) / tau * self.period_d
        return coldest_here_d + up_d, coldest_here_d + self.period_d - up_d

    def deepest_crossing_m(self, threshold_c: float) -> float:
        """Return the depth below which the wave never reaches a threshold [m]; 0 where none does.

        Infinite for the mean itself, which the wave crosses at every depth.
        """
        away_c = abs(threshold_c - self.mean_c)
        if away_c == 0:
            return float("inf")
        return max(0.0, self.damping_depth_m * log(self.surface_amplitude_c / away_c))
