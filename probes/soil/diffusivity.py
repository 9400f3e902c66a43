"""Thermal diffusivity of the soil between two probes, by four methods that must agree.

Each assumes uniform soil that conducts heat and does nothing else. Where water moves, soil is
layered or a probe's depth is wrong, the methods part: their disagreement says that the model fails.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isfinite, log, tau

import numpy as np
from numpy.typing import NDArray

from probes.soil.damped_wave import S_PER_DAY
from probes.soil.harmonics import Harmonics, fit_harmonics

DAILY_D = (1.0, 0.5)
QUARTERS = 4


@dataclass(frozen=True)
class Diffusivity:
    """What four methods say of one pair of probes [m2/s]; NaN where a method has no answer.

    amplitude, phase : from the daily waves' ratio and lag
    arctangent, logarithmic : from four readings a day, six hours apart
    amplitude_se, phase_se : standard errors from those of the waves
    """

    amplitude: float
    phase: float
    arctangent: float
    logarithmic: float
    amplitude_se: float
    phase_se: float

    @property
    def best(self) -> float:
        """The median of the methods that have an answer [m2/s]."""
        found = self._found
        return float(np.median(found)) if found else float("nan")

    @property
    def disagreement(self) -> float:
        """The largest over the smallest answer: 1 where all agree, infinite where one has none."""
        found = self._found
        return max(found) / min(found) if len(found) == QUARTERS else inf

    @property
    def _found(self) -> list[float]:
        methods = (self.amplitude, self.phase, self.arctangent, self.logarithmic)
        return [value for value in methods if isfinite(value)]


def by_amplitude(distance_m: float, ratio: float, period_d: float = 1.0) -> float:
    """Return the diffusivity from how much a wave shrinks [m2/s].

    Parameters
    ----------
    distance_m : float
        From the upper probe down to the lower. [m]
    ratio : float
        Upper over lower amplitude; NaN comes back where it is not above 1.
    period_d : float
        [d]

    References
    ----------
    [HORTON-1983].
    """
    if not ratio > 1:
        return float("nan")
    return _omega(period_d) * distance_m**2 / (2 * log(ratio) ** 2)


def by_phase(distance_m: float, lag_d: float, period_d: float = 1.0) -> float:
    """Return the diffusivity from how much later a wave comes [m2/s].

    Parameters
    ----------
    distance_m : float
        From the upper probe down to the lower. [m]
    lag_d : float
        Of the lower wave behind the upper; NaN comes back where it is not positive. [d]
    period_d : float
        [d]

    References
    ----------
    [HORTON-1983].
    """
    if not lag_d > 0:
        return float("nan")
    return distance_m**2 / (2 * _omega(period_d) * (lag_d * S_PER_DAY) ** 2)


def by_arctangent(
    distance_m: float, upper_c: NDArray[np.float64], lower_c: NDArray[np.float64]
) -> float:
    """Return the diffusivity from the turn between four readings a day at two depths [m2/s].

    Parameters
    ----------
    distance_m : float
        From the upper probe down to the lower. [m]
    upper_c, lower_c : array, shape (n_days, 4)
        Six hours apart; days with a NaN are left out. [degC]

    NaN where the lower wave is not behind the upper by less than half a day. Days are taken
    together before the angle is formed, so that days with little wave weigh little.

    References
    ----------
    [HORTON-1983].
    """
    upper, lower = _arrows(upper_c, lower_c)
    angle = float(np.angle(np.sum(upper.conj() * lower)))
    return _omega(1.0) * distance_m**2 / (2 * angle**2) if angle > 0 else float("nan")


def by_logarithm(
    distance_m: float, upper_c: NDArray[np.float64], lower_c: NDArray[np.float64]
) -> float:
    """Return the diffusivity from the size of four readings a day at two depths [m2/s].

    Parameters as of `by_arctangent`; NaN where the lower wave is not the smaller.

    References
    ----------
    [HORTON-1983].
    """
    upper, lower = _arrows(upper_c, lower_c)
    sizes = np.sum(np.abs(upper) ** 2), np.sum(np.abs(lower) ** 2)
    if not sizes[0] > sizes[1] > 0:
        return float("nan")
    return float(2 * _omega(1.0) * distance_m**2 / log(sizes[0] / sizes[1]) ** 2)


def find_diffusivity(
    time_d: NDArray[np.float64],
    upper_c: NDArray[np.float64],
    lower_c: NDArray[np.float64],
    distance_m: float,
) -> Diffusivity:
    """Return the diffusivity between two probes from their daily waves, by all four methods.

    Parameters
    ----------
    time_d : array, shape (n,)
        Consecutive hours, in days. [d]
    upper_c, lower_c : array, shape (n,)
        Hourly; NaN where missing. Some weeks of clear days serve best. [degC]
    distance_m : float
        From the upper probe down to the lower. [m]

    Raises
    ------
    ValueError
        Where a probe has too few readings.

    References
    ----------
    [HORTON-1983]; [OXISOL-FIELD] found the lag of daily waves more reliable than their ratio.
    """
    upper_c, lower_c = (without_trend(value_c) for value_c in (upper_c, lower_c))
    upper = fit_harmonics(time_d, upper_c, DAILY_D)
    lower = fit_harmonics(time_d, lower_c, DAILY_D)
    ratio = float(upper.amplitude_c[0] / lower.amplitude_c[0])
    lag_d = float(np.angle(upper.wave_c[0] / lower.wave_c[0])) / tau
    amplitude = by_amplitude(distance_m, ratio)
    phase = by_phase(distance_m, lag_d)
    # alpha goes with the inverse square of ln(ratio) and of the lag
    error = _relative_error(upper, lower)
    quarters = [_quarters(value_c) for value_c in (upper_c, lower_c)]
    return Diffusivity(
        amplitude=amplitude,
        phase=phase,
        arctangent=by_arctangent(distance_m, *quarters),
        logarithmic=by_logarithm(distance_m, *quarters),
        amplitude_se=2 * amplitude * error / abs(log(ratio)),
        phase_se=2 * phase * error / abs(tau * lag_d),
    )


def _omega(period_d: float) -> float:
    return tau / (period_d * S_PER_DAY)


def _relative_error(upper: Harmonics, lower: Harmonics) -> float:
    """Return the standard error of the ratio of two waves, over the ratio; of its angle as well."""
    return float(
        np.hypot(
            upper.wave_se_c[0] / upper.amplitude_c[0], lower.wave_se_c[0] / lower.amplitude_c[0]
        )
    )


def _arrows(
    upper_c: NDArray[np.float64], lower_c: NDArray[np.float64]
) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Return the daily waves of four readings each, (T1 - T3) + i (T2 - T4), for shared days."""
    days = ~np.isnan(upper_c + lower_c).any(axis=1)
    first, second = (
        (day_c[days, 0] - day_c[days, 2]) + 1j * (day_c[days, 1] - day_c[days, 3])
        for day_c in (upper_c, lower_c)
    )
    return first, second


def _quarters(hourly_c: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return four readings of each whole day, six hours apart."""
    days = hourly_c.size // 24
    return hourly_c[: days * 24].reshape(days, 24)[:, ::6]


def without_trend(hourly_c: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return hourly readings less the mean of the day around each; NaN where one is missing.

    Parameters
    ----------
    hourly_c : array, shape (n,)
        [degC]
    """
    if hourly_c.size < 25:
        return np.full(hourly_c.size, np.nan)
    weights = np.array([0.5, *[1.0] * 23, 0.5]) / 24
    level_c = np.convolve(hourly_c, weights, mode="valid")
    level_c = np.pad(level_c, 12, constant_values=np.nan)
    return hourly_c - level_c
