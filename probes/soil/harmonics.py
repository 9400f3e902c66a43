"""Waves of given periods in a series with gaps, by least squares, with standard errors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import tau

import numpy as np
from numpy.typing import NDArray

DAY_US = 86_400_000_000


def days_since_1970(observed_at: NDArray[np.datetime64]) -> NDArray[np.float64]:
    """Return instants [UTC] as days since 1970 began [d]."""
    return observed_at.astype("datetime64[us]").astype(np.int64) / DAY_US


@dataclass(frozen=True)
class Harmonics:
    """T(t) = mean + the sum over k of Re(wave_k exp(2 pi i t / period_k)), t in days.

    mean_c : [degC]
    period_d : (k,) float64 [d]
    wave_c : (k,) complex128, its size the amplitude [degC]
    wave_se_c : (k,) float64, standard error of a wave along any direction [degC]
    """

    mean_c: float
    period_d: NDArray[np.float64]
    wave_c: NDArray[np.complex128]
    wave_se_c: NDArray[np.float64]

    @property
    def amplitude_c(self) -> NDArray[np.float64]:
        """Half of the range of each wave, `wave_se_c` its standard error [degC]."""
        return np.abs(self.wave_c)

    @property
    def peak_d(self) -> NDArray[np.float64]:
        """The first time from 0 on at which each wave is highest [d]."""
        return -np.angle(self.wave_c) / tau % 1 * self.period_d

    def temp_c(self, time_d: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the curve at some times [degC]."""
        turns = np.exp(1j * tau * np.asarray(time_d)[..., np.newaxis] / self.period_d)
        return self.mean_c + (turns @ self.wave_c).real


def fit_harmonics(
    time_d: NDArray[np.float64], temp_c: NDArray[np.float64], period_d: Sequence[float]
) -> Harmonics:
    """Fit a mean and one wave for each period.

    Parameters
    ----------
    time_d : array, shape (n,)
        Ascending; gaps are left out or NaN in `temp_c`. [d]
    temp_c : array, shape (n,)
        [degC]
    period_d : sequence, k periods
        `YEAR_D` and its half for the annual wave, 1 and 1/2 for the daily one. [d]

    Standard errors take into account that readings next to each other err alike: for each wave the
    variance is stretched as the spectrum of a first-order process with the correlation r of
    neighbouring residuals has it, for slow waves by (1 + r)/(1 - r). They grow without bound where
    the series is too short or too full of gaps to tell the waves apart.

    Raises
    ------
    ValueError
        Where there are not more readings than numbers to fit.

    References
    ----------
    [VON-STORCH-1999].
    """
    there = ~np.isnan(temp_c)
    at_d, value_c = time_d[there], temp_c[there]
    periods = np.asarray(period_d, np.float64)
    numbers = 1 + 2 * periods.size
    if at_d.size <= numbers:
        raise ValueError(
            f"{at_d.size} readings are too few to fit {numbers} numbers; give a longer series"
        )
    turn = tau * at_d[:, np.newaxis] / periods
    design = np.hstack([np.ones((at_d.size, 1)), np.cos(turn), -np.sin(turn)])
    found, *_ = np.linalg.lstsq(design, value_c)
    residual_c = value_c - design @ found
    variance = residual_c @ residual_c / (at_d.size - numbers)
    stretch = _stretches(at_d, residual_c, np.tile(periods, 2))
    spread = np.diag(np.linalg.pinv(design.T @ design))[1:] * variance * stretch
    real, imaginary = np.split(found[1:], 2)
    return Harmonics(
        mean_c=float(found[0]),
        period_d=periods,
        wave_c=real + 1j * imaginary,
        wave_se_c=np.sqrt(np.maximum(*np.split(spread, 2))),
    )


def _stretches(
    at_d: NDArray[np.float64], residual_c: NDArray[np.float64], period_d: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return by how much neighbours that err alike stretch the variance of each wave."""
    step_d = np.diff(at_d)
    near = step_d <= 1.5 * np.median(step_d)
    here, there = residual_c[:-1][near], residual_c[1:][near]
    size = float(np.sqrt((here @ here) * (there @ there)))
    # hardly a series has fewer than one reading in a thousand of its own
    alike = float(np.clip(here @ there / size if size > 0 else 0.0, 0.0, 0.999))
    turn = tau * np.median(step_d) / period_d
    return (1 - alike**2) / (1 - 2 * alike * np.cos(turn) + alike**2)
