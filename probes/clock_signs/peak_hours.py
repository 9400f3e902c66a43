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

from probes.clock_signs.daily_waves import DAY_H, find_daily_waves, hour_of
from probes.frames import LoggerFile

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

    A day counts where its wave is clear.

    References
    ----------
    [HILLEL-1982] for the lag.
    """
    if depth_cm > DEEPEST_CM or interval_min > LONGEST_INTERVAL_MIN or not observed_at.size:
        return None
    waves = find_daily_waves(observed_at, soil_temp_c, longitude_deg, interval_min)
    amplitude_c = np.abs(waves.wave_c)
    clear = amplitude_c >= CLEAR_AMPLITUDE_C
    clear &= amplitude_c**2 / 2 >= CLEAR_SHARE * waves.variance
    if clear.sum() < FEWEST_DAYS:
        return None
    wave = waves.wave_c[clear] / amplitude_c[clear]
    peaks_h = np.angle(wave) % tau * (DAY_H / tau)
    earliest_h = SURFACE_PEAK_H[0] + LAG_H_CM[0] * depth_cm
    latest_h = SURFACE_PEAK_H[1] + LAG_H_CM[1] * depth_cm
    impossible = (peaks_h - earliest_h) % DAY_H > latest_h - earliest_h
    return PeakHour(
        depth_cm,
        hour_of(wave.mean()),
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
