"""Soil by damped waves: one in closed form, or all that a series is made of; the second way."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, tau

import numpy as np
from numpy.fft import irfft, rfft, rfftfreq
from numpy.typing import NDArray

from probes.soil.damped_wave import damping_depth_m


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


def by_waves(
    departures_c: NDArray[np.float64], step_s: float, distance_m: float, diffusivity_m2_s: float
) -> NDArray[np.float64]:
    """Return departures further down: each wave that they are made of shrinks and comes later.

    Parameters as of `by_steps`.

    References
    ----------
    [HILLEL-1982] for the single wave.
    """
    times = departures_c.shape[0]
    length = 4 * times  # or what is past would come round again
    omega = tau * rfftfreq(length, step_s)
    damped = distance_m * np.sqrt(omega / (2 * diffusivity_m2_s))
    waves = rfft(departures_c, length, axis=0) * np.exp(-(1 + 1j) * damped)[:, np.newaxis]
    return irfft(waves, length, axis=0)[:times]
