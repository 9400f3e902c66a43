"""A temperature series carried down to a depth without a probe, with its uncertainty.

The yearly wave goes down in closed form; what departs from it goes down by one of two ways, as a
sum of damped waves or by stepwise conduction. Before the series begins it is taken to have followed
its yearly wave. On real probes held back the two ways do equally well; the waves need no grid and
no lower boundary, and are what `carry` uses unless told otherwise.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import tau

import numpy as np
from numpy.fft import irfft, rfft, rfftfreq
from numpy.typing import NDArray

from probes.soil.conduction import conduct
from probes.soil.damped_wave import S_PER_DAY, damping_depth_m
from probes.soil.harmonics import Harmonics

Way = Callable[[NDArray[np.float64], float, float, float], NDArray[np.float64]]
"""(departures [degC], step_s, distance_m, diffusivity_m2_s) -> departures further down [degC]."""

SPACING_M = 0.02
BELOW_M = 1.5  # from the target down to where no departure passes
MODEL_SD_C = 0.2  # what real probes held back still showed at 20 to 40 cm with the right soil
MOST_UNKNOWN = 0.5


@dataclass(frozen=True)
class Ground:
    """What is known of the soil between two depths.

    diffusivity_m2_s : [m2/s]
    factor : by which it may well be larger or smaller, one standard deviation
    """

    diffusivity_m2_s: float
    factor: float


TYPICAL_GROUND = Ground(5e-7, 1.5)
"""Moist mineral soil of no known kind: loam and sand of [MOENE-2014], 0.4 to 1 e-6 m2/s."""


@dataclass(frozen=True)
class Carried:
    """A temperature that no probe measured.

    temp_c : (n,) float64, NaN where it would rest more on what is missing than on readings [degC]
    sd_c : (n,) float64, standard deviation of its error, without that of the sensor [degC]
    """

    temp_c: NDArray[np.float64]
    sd_c: NDArray[np.float64]


def by_waves(
    departures_c: NDArray[np.float64], step_s: float, distance_m: float, diffusivity_m2_s: float
) -> NDArray[np.float64]:
    """Return departures further down: each wave that they are made of shrinks and comes later.

    Parameters
    ----------
    departures_c : array, shape (n_times, n_series)
        From the yearly wave; zero before they begin. [degC]
    step_s : float
        [s]
    distance_m : float
        [m]
    diffusivity_m2_s : float
        [m2/s]

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


def by_conduction(
    departures_c: NDArray[np.float64], step_s: float, distance_m: float, diffusivity_m2_s: float
) -> NDArray[np.float64]:
    """Return departures further down by `conduct`.

    Parameters as of `by_waves`. The soil starts without departures, and no heat of theirs passes
    1.5 m below the target.
    """
    steps = max(1, round(distance_m / SPACING_M))
    spacing_m = distance_m / steps
    nodes = steps + 1 + round(BELOW_M / spacing_m)
    initial_c = np.zeros((nodes, departures_c.shape[1]))
    return conduct(departures_c, initial_c, diffusivity_m2_s, spacing_m, step_s)[:, steps]


def carry(
    time_d: NDArray[np.float64],
    temp_c: NDArray[np.float64],
    yearly: Harmonics,
    distance_m: float,
    ground: Ground,
    way: Way = by_waves,
) -> Carried:
    """Return the temperature `distance_m` below a probe.

    Parameters
    ----------
    time_d : array, shape (n,)
        Equally spaced, an hour or less apart where the daily wave matters. [d]
    temp_c : array, shape (n,)
        Measured; NaN where missing. [degC]
    yearly : Harmonics
        The probe's yearly wave, own or borrowed; without periods where none is known.
    distance_m : float
        Down from the probe. [m]
    ground : Ground
        The soil in between.
    way : `by_waves` or `by_conduction`

    Gaps are bridged by straight lines between the departures on both sides. The uncertainty adds
    the soil's (carried again with a larger and a smaller diffusivity), what is missing (the share
    of the result that rests on it, times the usual size of departures) and that of the model.

    Raises
    ------
    ValueError
        For a depth that is not below the probe: to carry it up would blow noise up.
    """
    if distance_m <= 0:
        raise ValueError(
            f"distance_m = {distance_m} is not below the probe; carry a temperature down only"
        )
    there = ~np.isnan(temp_c)
    away_c = temp_c - yearly.temp_c(time_d)
    filled_c = np.interp(time_d, time_d[there], away_c[there])
    both = np.column_stack([filled_c, there])
    step_s = (time_d[1] - time_d[0]) * S_PER_DAY

    def carried(diffusivity_m2_s: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        deeper = way(both, step_s, distance_m, diffusivity_m2_s)
        wave_c = sunk(yearly, distance_m, diffusivity_m2_s).temp_c(time_d)
        return wave_c + deeper[:, 0], np.clip(1 - deeper[:, 1], 0.0, 1.0)

    found_c, unknown = carried(ground.diffusivity_m2_s)
    faster_c, _ = carried(ground.diffusivity_m2_s * ground.factor)
    slower_c, _ = carried(ground.diffusivity_m2_s / ground.factor)
    soil_c, missing_c = (faster_c - slower_c) / 2, unknown * np.nanstd(away_c)
    return Carried(
        temp_c=np.where(unknown > MOST_UNKNOWN, np.nan, found_c),
        sd_c=np.sqrt(soil_c**2 + missing_c**2 + MODEL_SD_C**2),
    )


def sunk(wave: Harmonics, distance_m: float, diffusivity_m2_s: float) -> Harmonics:
    """Return waves as they are `distance_m` [m] further down: smaller and later."""
    damped = [
        distance_m / damping_depth_m(diffusivity_m2_s, period_d) for period_d in wave.period_d
    ]
    return replace(wave, wave_c=wave.wave_c * np.exp(-(1 + 1j) * np.array(damped)))
