"""Daily means of a probe, in days of local standard time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probes.frames import GOOD, NOT_EVALUATED, SUSPECT, DailyMeans, Readings

SLOT_HOURS = (1, 2, 3, 4, 6, 8, 12, 24)
LONGEST_GAP_H = 3
US_PER_HOUR = 3_600_000_000


def slot_hours(interval_min: float) -> int:
    """Return the hours of the slots in which a logger's readings are counted.

    Parameters
    ----------
    interval_min : float
        Between readings. [min]

    Raises
    ------
    ValueError
        When no slot of a day holds it.
    """
    if interval_min > 0:
        for hours in SLOT_HOURS:
            if interval_min <= hours * 60:
                return hours
    raise ValueError(
        f"interval_min = {interval_min} is no interval of readings; give 24 hours (1440) at most"
    )


def find_daily_means(
    readings: Readings,
    utc_offset_min: int,
    interval_min: float,
    use_suspect: bool,
    calibration_offset_c: float | NDArray[np.float64] = 0.0,
) -> DailyMeans:
    """Return a probe's daily means, for each day that holds a reading.

    Parameters
    ----------
    readings : Readings
    utc_offset_min : int
        Of the site's standard time, east of Greenwich. [min]
    interval_min : float
        Between readings; loggers slower than hourly get slots of `slot_hours`. [min]
    use_suspect : bool
        Whether readings flagged SUSPECT count; GOOD and NOT_EVALUATED always do.
    calibration_offset_c : float or array of float64, shape (n,)
        Added to each reading. [degC]

    A reading belongs to the slot in which it ends: 09:00 to 08-09, and 00:00 to the day before.
    Readings are averaged within each slot, then over the slots. A day is complete with three
    quarters of its slots and no run of missing ones, within the day, longer than 3 hours (one
    slot, where slots are longer). A day whose readings may not be used has a NaN mean.
    """
    hours = slot_hours(interval_min)
    slots_in_day = 24 // hours
    day = np.unique(_find_slots(readings, utc_offset_min, hours) // slots_in_day)
    present, slot_mean_c = find_slot_means(
        readings, utc_offset_min, interval_min, use_suspect, calibration_offset_c
    )

    day_place = np.searchsorted(day, present // slots_in_day)
    slots_present = np.bincount(day_place, minlength=day.size)
    total_c = np.bincount(day_place, slot_mean_c, minlength=day.size)
    mean_c = np.full(day.size, np.nan)
    np.divide(total_c, slots_present, out=mean_c, where=slots_present > 0)

    longest_gap_h = hours * _longest_gaps(present % slots_in_day, day_place, day.size, slots_in_day)
    complete = (4 * slots_present >= 3 * slots_in_day) & (
        longest_gap_h <= max(LONGEST_GAP_H, hours)
    )
    return DailyMeans(
        day=day.astype("datetime64[D]"),
        mean_c=mean_c,
        slots_present=slots_present.astype(np.int16),
        slots_in_day=np.full(day.size, slots_in_day, np.int16),
        longest_gap_h=longest_gap_h.astype(np.int16),
        complete=complete,
    )


def find_slot_means(
    readings: Readings,
    utc_offset_min: int,
    interval_min: float,
    use_suspect: bool,
    calibration_offset_c: float | NDArray[np.float64] = 0.0,
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return the slots that hold a reading that may be used, and the mean of each.

    Parameters as of `find_daily_means`.

    Returns
    -------
    array, shape (n_slots,)
        Slots of `slot_hours`, counted from 1970 in local standard time, ascending.
    array, shape (n_slots,)
        [degC]
    """
    usable = find_usable(readings, use_suspect)
    slot = _find_slots(readings, utc_offset_min, slot_hours(interval_min))
    present, place = np.unique(slot[usable], return_inverse=True)
    value_c = (readings.soil_temp_c + calibration_offset_c)[usable]
    return present, np.bincount(place, value_c) / np.bincount(place)


def _find_slots(readings: Readings, utc_offset_min: int, hours: int) -> NDArray[np.int64]:
    local_us = readings.observed_at.astype("datetime64[us]").astype(np.int64)
    local_us += utc_offset_min * 60_000_000
    return (local_us - 1) // (hours * US_PER_HOUR)


def _longest_gaps(
    slot_of_day: NDArray[np.int64], day_place: NDArray[np.intp], days: int, slots_in_day: int
) -> NDArray[np.int64]:
    """Return the longest run of missing slots within each day, the slots present ascending."""
    # A wall stands at each midnight, so that no run reaches over it.
    length = slots_in_day + 1
    walls = np.arange(days + 1) * length
    marks = np.sort(np.concatenate([walls, day_place * length + 1 + slot_of_day]))
    return np.maximum.reduceat(np.diff(marks) - 1, np.searchsorted(marks, walls[:-1]))


def find_usable(readings: Readings, use_suspect: bool) -> NDArray[np.bool_]:
    """Return whether each reading counts: GOOD and NOT_EVALUATED do, SUSPECT where it may."""
    flags = [GOOD, NOT_EVALUATED, SUSPECT] if use_suspect else [GOOD, NOT_EVALUATED]
    return np.isin(readings.flag, flags)
