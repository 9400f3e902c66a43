"""Gross range: a reading outside what a probe can report, or what soil does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probes.frames import FAIL, GOOD, MISSING, SUSPECT


@dataclass(frozen=True)
class GrossRange:
    """Spans of believable soil temperature [degC]; their ends belong to them.

    sensor_c : what a probe can report; the limits of the International Soil Moisture Network,
        from memory
    user_c : what shallow soil under vines does; ours
    """

    sensor_c: tuple[float, float] = (-60.0, 60.0)
    user_c: tuple[float, float] = (-20.0, 45.0)

    def __post_init__(self) -> None:
        if not self.sensor_c[0] <= self.user_c[0] <= self.user_c[1] <= self.sensor_c[1]:
            raise ValueError(
                f"user span {self.user_c} must lie inside sensor span {self.sensor_c}, each with "
                "its lower end first"
            )


def flag_gross_range(
    soil_temp_c: NDArray[np.float64], span: GrossRange | None = None
) -> NDArray[np.int8]:
    """Return QARTOD flags by gross range.

    Parameters
    ----------
    soil_temp_c : array of float64, any shape
        [degC]; NaN is flagged MISSING.
    span : GrossRange, optional
        The default spans where left out.

    Returns
    -------
    flag : array of int8, same shape
        FAIL outside the sensor span, SUSPECT outside the user span, else GOOD.

    References
    ----------
    [IOOS-QARTOD] test 4, gross range.
    """
    span = span or GrossRange()
    (sensor_low, sensor_high), (user_low, user_high) = span.sensor_c, span.user_c
    conditions = [
        np.isnan(soil_temp_c),
        (soil_temp_c < sensor_low) | (soil_temp_c > sensor_high),
        (soil_temp_c < user_low) | (soil_temp_c > user_high),
    ]
    return np.select(conditions, [MISSING, FAIL, SUSPECT], GOOD).astype(np.int8)


def explain_gross_range(soil_temp_c: float, span: GrossRange) -> str:
    """Return which span a reading lies outside."""
    sensor_low, sensor_high = span.sensor_c
    if not sensor_low <= soil_temp_c <= sensor_high:
        return (
            f"{soil_temp_c:.1f} °C is outside {sensor_low:g} to {sensor_high:g} °C, "
            "what a probe can report"
        )
    low, high = span.user_c
    return f"{soil_temp_c:.1f} °C is outside {low:g} to {high:g} °C, what this soil does"
