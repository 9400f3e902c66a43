"""Power on: the values that digital sensors give when they have not measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probes.checks.series import US_PER_HOUR, ProbeSeries
from probes.frames import FAIL, GOOD, SUSPECT

TOLERANCE_C = 0.005
"""Within which a value is a code: stamped in °F it comes back a little off. [degC]"""


@dataclass(frozen=True)
class PowerOn:
    """The codes of common digital sensors.

    power_on_c : read before the first conversion; their data sheets, from memory [degC]
    disconnected_c : common practice, no source [degC]
    near_c : a power-on value is believed this near to the last other reading; ours [degC]
    longest_gap_h : while that is no older than this; ours [h]
    """

    power_on_c: float = 85.0
    disconnected_c: float = -127.0
    near_c: float = 5.0
    longest_gap_h: float = 6.0


def flag_power_on(series: ProbeSeries, power_on: PowerOn) -> NDArray[np.int8]:
    """Return the result of each reading.

    The disconnected value fails; the power-on value, which a compost heap may reach, is suspect
    unless another reading before it lies near in time and temperature. No calibration moves a code.
    """
    value_c = series.raw_c
    is_code = np.abs(value_c - power_on.power_on_c) <= TOLERANCE_C
    other, age_h = _last_other(series, is_code)
    alone = (age_h > power_on.longest_gap_h) | (np.abs(value_c - value_c[other]) > power_on.near_c)
    result = np.where(is_code & alone, SUSPECT, GOOD).astype(np.int8)
    result[np.abs(value_c - power_on.disconnected_c) <= TOLERANCE_C] = FAIL
    return result


def explain_power_on(series: ProbeSeries, place: int, power_on: PowerOn) -> str:
    """Return which code a reading is, and why it is not believed."""
    value_c = series.raw_c
    if abs(value_c[place] - power_on.disconnected_c) <= TOLERANCE_C:
        return f"{power_on.disconnected_c:g} °C is what a sensor that is disconnected gives"
    is_code = np.abs(value_c - power_on.power_on_c) <= TOLERANCE_C
    other, age_h = _last_other(series, is_code)
    what = f"{power_on.power_on_c:g} °C is what a sensor gives before it has measured"
    if age_h[place] > power_on.longest_gap_h:
        return f"{what}, and there is no other reading in the {power_on.longest_gap_h:g} h before"
    return f"{what}, and the last other reading is {value_c[other[place]]:.1f} °C"


def _last_other(
    series: ProbeSeries, is_code: NDArray[np.bool_]
) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """Return the place and age [h] of the last reading that is no code; infinite without one."""
    place = np.arange(is_code.size)
    other = np.maximum.accumulate(np.where(is_code, -1, place))
    age_h = np.where(other < 0, np.inf, (series.at_us - series.at_us[other]) / US_PER_HOUR)
    return other, age_h
