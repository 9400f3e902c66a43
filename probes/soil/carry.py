"""A temperature series carried down to a depth without a probe, with its uncertainty.

What departs from the mean of the last year goes down as the answer of the ground to each step of
the series. A sum of damped waves, which is the same told by frequency, does equally well on real
probes held back, and stepwise conduction a little worse; the answer to steps needs no grid and no
lower boundary, and a time rests on nothing that comes after it, where the waves of a finite series
ring ahead of what they follow.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from math import erfc

import numpy as np
from numpy.fft import irfft, rfft
from numpy.typing import NDArray

from probes.soil.damped_wave import S_PER_DAY

Way = Callable[[NDArray[np.float64], float, float, float], NDArray[np.float64]]
"""(departures [degC], step_s, distance_m, diffusivity_m2_s) -> departures further down [degC]."""

MODEL_SD_C, MODEL_SD_C_PER_M = 0.2, 1.0
"""What soil as in a book does not know, at the probe and more with the distance: by real probes
held back, of which at [US-TW3], 8 to 32 cm, 61 % lay within 0.3 degC at any distance."""
GAP_SD_C = 2.0  # of days from the line across a gap; at [US-TW3] from the yearly curve 1.1 to 1.9
UNSEEN_SD_C = 7.0  # of the time before the series from its mean, while that is not of a year
PAST_SD_C = 1.0  # and of earlier years from the mean of the last one
YEAR_S = 365 * S_PER_DAY
MEMORY_S = 2 * YEAR_S  # what is longer ago counts as the mean of the last year


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


KNOWN_FACTOR = 1.2
"""Of a diffusivity measured in the soil itself: it is not one the year round. Ours."""


@dataclass(frozen=True)
class Carried:
    """A temperature that no probe measured.

    temp_c : (n,) float64, NaN where the probe above has no reading [degC]
    sd_c : (n,) float64, standard deviation of its error, without that of the sensor; NaN likewise
        [degC]
    """

    temp_c: NDArray[np.float64]
    sd_c: NDArray[np.float64]


def by_steps(
    departures_c: NDArray[np.float64], step_s: float, distance_m: float, diffusivity_m2_s: float
) -> NDArray[np.float64]:
    """Return departures further down, each the mean of its step, from means of steps above.

    Parameters
    ----------
    departures_c : array, shape (n_times, n_series)
        From the mean of the last year; zero before they begin. [degC]
    step_s : float
        [s]
    distance_m : float
        [m]
    diffusivity_m2_s : float
        [m2/s]

    A step of the surface by 1 degC comes through as erfc(x), with x = z / sqrt(4 alpha t); its
    integral over time is 4 t i2erfc(x). What is longer ago than two years is left out.

    References
    ----------
    [CARSLAW-1959].
    """
    times = departures_c.shape[0]
    shares = _answer_to_steps(step_s, distance_m, diffusivity_m2_s)[:times]
    length = 1 << (times + shares.size).bit_length()  # what is past does not come round again
    answered = rfft(departures_c, length, axis=0) * rfft(shares, length)[:, np.newaxis]
    return irfft(answered, length, axis=0)[:times]


@lru_cache(maxsize=256)
def _answer_to_steps(
    step_s: float, distance_m: float, diffusivity_m2_s: float
) -> NDArray[np.float64]:
    """Return the share of a step of the surface in the mean of that step further down, and of each
    after it for two years; most blocks ask for the same few."""
    time_s = np.arange(1, round(MEMORY_S / step_s) + 1) * step_s
    x = distance_m / np.sqrt(4 * diffusivity_m2_s * time_s)
    erfc_x = np.array([erfc(one) for one in x.tolist()])  # scipy's would slow every command's start
    through = time_s * ((1 + 2 * x**2) * erfc_x - 2 / np.sqrt(np.pi) * x * np.exp(-(x**2)))
    answer = np.diff(through, prepend=0.0) / step_s
    return np.diff(answer, prepend=0.0)


def carry(
    temp_c: NDArray[np.float64],
    step_s: float,
    distance_m: float,
    ground: Ground,
    way: Way = by_steps,
) -> Carried:
    """Return the temperature `distance_m` below a probe.

    Parameters
    ----------
    temp_c : array, shape (n,)
        Measured, equally spaced means; NaN where missing. [degC]
    step_s : float
        Between them: daily means will do. [s]
    distance_m : float
        Down from the probe. [m]
    ground : Ground
        The soil in between.
    way : `by_steps`, or another to hold it against

    Gaps are bridged by straight lines. What lies before the series, and more than two years ago, is
    taken to have been like the mean of the last year, or of what there is of one. The uncertainty
    adds the soil's (carried again with a larger and a smaller diffusivity), the share of the result
    that rests on gaps and on the time before the series, each times how far that may be off, and
    that of the model. With less than a year of data it is the wider the less there is.

    Raises
    ------
    ValueError
        For a depth that is not below the probe: to carry it up would blow noise up.
    """
    if distance_m <= 0:
        raise ValueError(
            f"distance_m = {distance_m} is not below the probe; carry a temperature down only"
        )
    there = np.flatnonzero(~np.isnan(temp_c))
    carried = Carried(np.full(temp_c.size, np.nan), np.full(temp_c.size, np.nan))
    if not there.size:
        return carried
    begun = temp_c[there[0] :]
    measured = ~np.isnan(begun)
    filled_c = np.interp(np.arange(begun.size), there - there[0], temp_c[there])
    level_c = _mean_of_last_year(filled_c, step_s)
    parts = np.column_stack([filled_c, measured, ~measured]).astype(np.float64)

    def sunk(diffusivity_m2_s: float) -> tuple[NDArray[np.float64], ...]:
        deeper_c, known, in_gaps = way(parts, step_s, distance_m, diffusivity_m2_s).T
        unseen = np.clip(1 - known - in_gaps, 0.0, 1.0)
        return deeper_c + unseen * level_c, in_gaps, unseen

    found_c, in_gaps, unseen = sunk(ground.diffusivity_m2_s)
    faster_c, *_ = sunk(ground.diffusivity_m2_s * ground.factor)
    slower_c, *_ = sunk(ground.diffusivity_m2_s / ground.factor)
    is_year = (np.arange(begun.size) + 1) * step_s >= YEAR_S
    errors_c = [
        (faster_c - slower_c) / 2,
        in_gaps * GAP_SD_C,
        unseen * np.where(is_year, PAST_SD_C, UNSEEN_SD_C),
        np.full(begun.size, MODEL_SD_C + MODEL_SD_C_PER_M * distance_m),
    ]
    carried.temp_c[there] = found_c[measured]
    carried.sd_c[there] = np.sqrt(np.sum(np.square(errors_c), axis=0))[measured]
    return carried


def _mean_of_last_year(temp_c: NDArray[np.float64], step_s: float) -> NDArray[np.float64]:
    """Return the mean of each time and the year before it, or of what there is of one."""
    steps = round(YEAR_S / step_s)
    total_c = np.concatenate([[0.0], np.cumsum(temp_c)])
    end = np.arange(1, temp_c.size + 1)
    begin = np.maximum(end - steps, 0)
    return (total_c[end] - total_c[begin]) / (end - begin)
