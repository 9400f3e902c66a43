"""At which hour of the sun soil is warmest, and whether its depth allows that.

The surface is warmest soon after noon and the wave goes down with a lag of z / (omega d), so that a
clock that is hours off shows. d, the damping depth of the daily wave, is 5 to 17 cm in any soil.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import tau

import numpy as np
from numpy.typing import NDArray

from probes.frames import LoggerFile

DAY_H = 24
DAY_US = 86_400_000_000

SURFACE_PEAK_H = (11.5, 16.0)
"""Solar hours at which bare or covered surfaces are warmest; ours, about the two hours after noon
of [CAMPBELL-NORMAN-1998]."""

LAG_H_CM = (0.21, 0.77)
"""Lag [h] of each cm: wet sand (d 16.5 cm) to dry clay (5.2 cm), a tenth beyond [MOENE-2014]."""

DEEPEST_CM = 20.0
"""Below it any hour is possible somewhere."""

CLEAR_AMPLITUDE_C = 0.75
CLEAR_SHARE = 0.7
"""A day is clear where its first harmonic has this amplitude and makes this share of variance."""

ENOUGH_OF_DAY = 0.9
FEWEST_DAYS = 5
LEAST_SHIFT_H = 1.0
"""By how much a peak hour must be impossible to count."""

LONGEST_INTERVAL_MIN = 180


@dataclass(frozen=True)
class PeakHour:
    """When the days of a delivery peak at a depth.

    peak_h : mean over clear days, by the sun [h]
    possible_h : the earliest and the latest hour that its depth allows, the latter may be past 24
    days : how many days are clear
    impossible_days : at how many of them the hour is impossible
    """

    depth_cm: float
    peak_h: float
    possible_h: tuple[float, float]
    days: int
    impossible_days: int

    @property
    def shift_h(self) -> float:
        """The least that would make the hour possible [h]; 0 where it is."""
        earliest_h, latest_h = self.possible_h
        if (self.peak_h - earliest_h) % DAY_H <= latest_h - earliest_h:
            return 0.0
        to_earliest_h = (earliest_h - self.peak_h) % DAY_H
        to_latest_h = (latest_h - self.peak_h) % DAY_H - DAY_H
        return min(to_earliest_h, to_latest_h, key=abs)


def find_peak_hour(
    observed_at: NDArray[np.datetime64],
    soil_temp_c: NDArray[np.float64],
    depth_cm: float,
    longitude_deg: float,
    interval_min: float,
) -> PeakHour | None:
    """Return when the days of one depth peak; None where too few are clear to say.

    Parameters
    ----------
    observed_at : array of datetime64[us], shape (n,)
        UTC, in any order.
    soil_temp_c : array of float64, shape (n,)
        Never NaN. [degC]
    depth_cm : float
    longitude_deg : float
        East of Greenwich.
    interval_min : float
        Between readings.

    Days run from midnight to midnight by the mean sun. A day counts where it is nearly whole, its
    neighbours are there to take off the trend, and its wave is clear.

    References
    ----------
    [HILLEL-1982] for the lag.
    """
    if depth_cm > DEEPEST_CM or interval_min > LONGEST_INTERVAL_MIN or not observed_at.size:
        return None
    solar_us = observed_at.astype(np.int64) + round(longitude_deg / 360 * DAY_US)
    day = solar_us // DAY_US
    day -= day.min()
    angle = (solar_us % DAY_US) * (tau / DAY_US)
    count = np.bincount(day)
    n = np.maximum(count, 1)
    mean_c, square, cos_c, sin_c = (
        np.bincount(day, weights) / n
        for weights in (
            soil_temp_c,
            soil_temp_c**2,
            soil_temp_c * np.cos(angle),
            soil_temp_c * np.sin(angle),
        )
    )
    whole = count >= ENOUGH_OF_DAY * 1440 / interval_min
    usable = whole[1:-1] & whole[:-2] & whole[2:]
    trend_c = (mean_c[2:] - mean_c[:-2]) / 2  # of one day
    # a day's ramp has a first harmonic of its own: minus trend / pi in the sine
    a_c, b_c = 2 * cos_c[1:-1], 2 * sin_c[1:-1] + trend_c / np.pi
    amplitude_c = np.hypot(a_c, b_c)
    variance = square[1:-1] - mean_c[1:-1] ** 2 - trend_c**2 / 12
    clear = usable & (amplitude_c >= CLEAR_AMPLITUDE_C)
    clear &= amplitude_c**2 / 2 >= CLEAR_SHARE * variance
    if clear.sum() < FEWEST_DAYS:
        return None
    wave = (a_c + 1j * b_c)[clear]
    wave /= np.abs(wave)
    peaks_h = np.angle(wave) % tau * (DAY_H / tau)
    earliest_h = SURFACE_PEAK_H[0] + LAG_H_CM[0] * depth_cm
    latest_h = SURFACE_PEAK_H[1] + LAG_H_CM[1] * depth_cm
    impossible = (peaks_h - earliest_h) % DAY_H > latest_h - earliest_h
    return PeakHour(
        depth_cm,
        float(np.angle(wave.mean()) % tau * (DAY_H / tau)),
        (earliest_h, latest_h),
        int(clear.sum()),
        int(impossible.sum()),
    )


def find_peak_hours(
    file: LoggerFile, depth_cm: Mapping[str, float], longitude_deg: float, interval_min: float
) -> Iterator[PeakHour]:
    """Yield when the days of a file peak at each depth that is clear, the shallowest first.

    Parameters
    ----------
    file : LoggerFile
    depth_cm : mapping of str to float
        Of each channel.
    longitude_deg, interval_min : float
        As of `find_peak_hour`.
    """
    for channel, at_cm in sorted(depth_cm.items(), key=lambda item: item[1]):
        if channel not in file.channels:
            continue
        soil_temp_c = file.soil_temp_c[:, file.channels.index(channel)]
        known = ~np.isnan(soil_temp_c)
        peak = find_peak_hour(
            file.observed_at[known], soil_temp_c[known], at_cm, longitude_deg, interval_min
        )
        if peak is not None:
            yield peak


def find_impossible_peaks(
    file: LoggerFile,
    depth_cm: Mapping[str, float],
    longitude_deg: float,
    interval_min: float,
    least_shift_h: float = LEAST_SHIFT_H,
) -> list[PeakHour]:
    """Return the peaks at hours that their depths do not allow; parameters as above.

    The shallowest depth that is clear knows its hour best: where it is possible, none is returned.
    """
    impossible = []
    for peak in find_peak_hours(file, depth_cm, longitude_deg, interval_min):
        if abs(peak.shift_h) < least_shift_h or 2 * peak.impossible_days <= peak.days:
            break
        impossible.append(peak)
    return impossible


def hour_text(hour: float) -> str:
    """Return an hour, which may be past 24, as 16:40."""
    minutes = round(hour * 60) % (24 * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
