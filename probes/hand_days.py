"""Days of a soil thermometer that is read by hand: a day's mean from an instant, and its error.

An instant is not a mean. What a thermometer says in the morning differs from the day's mean by what
the soil does in a day, more so the shallower; and where it is read a few times a week the days in
between are not known. Both errors are measured on real soil [UTAH-PROFILE], the more variable of
two records; neither is ever nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from probes.daily import find_usable
from probes.frames import DailyMeans, Readings

MOST_DAYS_APART = 4
"""Twice a week: days between two that lie further apart have no value. Ours."""
OWN_ERROR_C = 0.5
"""Of a soil thermometer, how it was pushed in and read. Common practice, no source."""

MEASURED_DEPTHS_CM = (5, 10, 20, 30, 40, 50, 60)
MEASURED_HOURS = (0, 3, 6, 9, 12, 15, 18, 21)
UNCORRECTED_C = np.array(
    [
        [2.75, 4.35, 5.52, 3.38, 4.51, 6.93, 4.28, 0.91],
        [1.08, 2.30, 3.45, 3.31, 0.92, 3.82, 3.74, 1.75],
        [0.93, 0.45, 1.06, 1.69, 1.32, 0.37, 1.53, 1.64],
        [0.76, 0.46, 0.23, 0.62, 0.88, 0.52, 0.31, 0.82],
        [0.42, 0.38, 0.22, 0.12, 0.35, 0.42, 0.22, 0.27],
        [0.25, 0.23, 0.20, 0.10, 0.07, 0.19, 0.21, 0.16],
        [0.22, 0.15, 0.12, 0.09, 0.05, 0.05, 0.12, 0.14],
    ]
)
"""Root mean square of the day's mean less the instant, depth x hour, on days of 12 to 30 °C."""
CORRECTED_C = np.array(
    [
        [1.62, 1.95, 2.18, 1.57, 2.23, 3.24, 1.97, 0.89],
        [0.97, 1.15, 1.37, 1.30, 0.82, 1.64, 1.62, 0.99],
        [0.55, 0.44, 0.52, 0.64, 0.51, 0.28, 0.69, 0.80],
        [0.36, 0.27, 0.22, 0.27, 0.31, 0.19, 0.23, 0.46],
        [0.26, 0.20, 0.14, 0.10, 0.13, 0.13, 0.11, 0.23],
        [0.24, 0.17, 0.11, 0.06, 0.04, 0.07, 0.10, 0.15],
        [0.21, 0.15, 0.10, 0.05, 0.02, 0.05, 0.08, 0.12],
    ]
)
"""What is left of it once the mean difference of the hour is taken off."""
BRIDGED_C = (1.02, 0.71, 0.44, 0.34, 0.26, 0.19, 0.13)
"""Error of the one day between two, by depth; k days from one and m from the other sqrt(k m) of it
(within 0.3 of what that record has up to 4 days apart)."""


@dataclass(frozen=True)
class DayFromInstant:
    """How a thermometer's instants become a day's value.

    corrections_c : depth [cm] -> hour of local standard time -> what is added to a reading nearest
        to that hour [degC]
    error_c : standard error of a day's value; None: by depth and hour, `find_error_c` [degC]
    """

    corrections_c: Mapping[float, Mapping[int, float]] = field(default_factory=dict)
    error_c: float | None = None


def find_error_c(depth_cm: float, hour: float, corrected: bool) -> float:
    """Return the standard error of a day's mean that is made from one reading by hand. [degC]

    Parameters
    ----------
    depth_cm : float
    hour : float
        Of local standard time, 8.5 for 08:30. [h]
    corrected : bool
        Whether a correction is declared for that hour and depth.

    Linear between the depths and hours that were measured, constant beyond the depths.

    References
    ----------
    [UTAH-PROFILE], beside the thermometer's own error.
    """
    table_c = CORRECTED_C if corrected else UNCORRECTED_C
    of_depth_c = [np.interp(depth_cm, MEASURED_DEPTHS_CM, column) for column in table_c.T]
    return float(np.hypot(np.interp(hour, MEASURED_HOURS, of_depth_c, period=24), OWN_ERROR_C))


def find_hand_days(
    readings: Readings,
    utc_offset_min: int,
    use_suspect: bool,
    depth_cm: NDArray[np.float64],
    calibration_offset_c: NDArray[np.float64],
    rule: DayFromInstant,
) -> DailyMeans:
    """Return a day's value for each day on which a thermometer was read.

    Parameters
    ----------
    readings : Readings
        At one depth, instants.
    utc_offset_min : int
        Of the site's standard time, east of Greenwich. [min]
    use_suspect : bool
        Whether readings flagged SUSPECT count; GOOD and NOT_EVALUATED always do.
    depth_cm, calibration_offset_c : array, shape (n,)
        Of each reading. [cm], [degC]
    rule : DayFromInstant

    Several readings of a day are averaged; their errors may be alike, so the error is their mean. A
    day whose readings may not be used has a NaN mean.
    """
    local = readings.observed_at.astype("datetime64[us]") + np.timedelta64(utc_offset_min, "m")
    day = (local - np.timedelta64(1, "us")).astype("datetime64[D]")  # midnight ends a day
    hour = (local - local.astype("datetime64[D]")) / np.timedelta64(1, "h")
    value_c = readings.soil_temp_c + calibration_offset_c
    error_c = np.empty(value_c.size)
    for place, (z_cm, h) in enumerate(zip(depth_cm.tolist(), hour.tolist(), strict=True)):
        correction_c = rule.corrections_c.get(z_cm, {}).get(int(h + 0.5) % 24)
        value_c[place] += correction_c or 0.0
        by_depth_c = find_error_c(z_cm, h, correction_c is not None)
        error_c[place] = by_depth_c if rule.error_c is None else rule.error_c
    days, of_day = np.unique(day, return_inverse=True)
    usable = find_usable(readings, use_suspect)
    count = np.bincount(of_day[usable], minlength=days.size)

    def mean_of(values: NDArray[np.float64]) -> NDArray[np.float64]:
        total = np.bincount(of_day[usable], values[usable], minlength=days.size)
        return np.divide(total, count, out=np.full(days.size, np.nan), where=count > 0)

    return DailyMeans(
        day=days,
        mean_c=mean_of(value_c),
        slots_present=(count > 0).astype(np.int16),
        slots_in_day=np.ones(days.size, np.int16),
        longest_gap_h=np.where(count > 0, 0, 24).astype(np.int16),
        complete=count > 0,
        error_c=mean_of(error_c),
    )


def bridge_days(
    mean_c: NDArray[np.float64], error_c: NDArray[np.float64], depth_cm: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Return a thermometer's days with those between two readings filled in.

    Parameters
    ----------
    mean_c, error_c : array, shape (n_days,)
        Of consecutive days; NaN where it was not read. [degC]
    depth_cm : array, shape (n_days,)

    Returns
    -------
    mean_c, error_c : array, shape (n_days,)
        A straight line between two days at one depth, at most `MOST_DAYS_APART` apart, with an
        error that grows away from both. [degC]
    between : array of bool, shape (n_days,)
        The days that were filled in. A day after the last reading never is.
    """
    mean_c, error_c = mean_c.copy(), error_c.copy()
    between = np.zeros(mean_c.size, bool)
    read = np.flatnonzero(~np.isnan(mean_c))
    apart = np.diff(read)
    for begin, gap in zip(read[:-1], apart, strict=True):
        end = begin + gap
        if not 1 < gap <= MOST_DAYS_APART or np.ptp(depth_cm[begin : end + 1]):
            continue
        since = np.arange(1, gap)
        inside, ends = slice(begin + 1, end), [begin, end]
        one_c = np.interp(depth_cm[begin], MEASURED_DEPTHS_CM, BRIDGED_C)
        mean_c[inside] = np.interp(since, [0, gap], mean_c[ends])
        error_c[inside] = np.hypot(
            np.interp(since, [0, gap], error_c[ends]), one_c * np.sqrt(since * (gap - since))
        )
        between[inside] = True
    return mean_c, error_c, between
