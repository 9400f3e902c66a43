"""What the checks judge: the readings of a probe at one depth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

US_PER_HOUR = 3_600_000_000


@dataclass(frozen=True)
class ProbeSeries:
    """Readings of one probe at one depth, ascending in time, each instant once.

    A probe that was buried anew at another depth is a series of its own for each depth.

    observed_at : (n,) datetime64[us], UTC
    soil_temp_c : (n,) float64, with its calibration, never NaN
    depth_cm : float, NaN where it is not known
    offset_c : float or (n,) float64, what the calibration has added
    """

    observed_at: NDArray[np.datetime64]
    soil_temp_c: NDArray[np.float64]
    depth_cm: float
    offset_c: NDArray[np.float64] | float = 0.0

    @property
    def raw_c(self) -> NDArray[np.float64]:
        """The values as the logger has them."""
        return self.soil_temp_c - self.offset_c

    @property
    def at_us(self) -> NDArray[np.int64]:
        """The instants in microseconds since 1970: whole numbers, so that 3 hours are 3 hours."""
        return self.observed_at.astype("datetime64[us]").astype(np.int64)

    @property
    def step_h(self) -> NDArray[np.float64]:
        """Hours since the reading before, infinite for the first. [h]"""
        return np.diff(self.at_us, prepend=np.iinfo(np.int64).min // 4) / US_PER_HOUR

    def where(self, which: NDArray[np.bool_] | slice) -> ProbeSeries:
        """Return some of the readings."""
        if not isinstance(which, slice) and which.all():
            return self  # as mostly: a copy of millions of readings less
        offset_c = np.broadcast_to(self.offset_c, self.soil_temp_c.shape)[which]
        return ProbeSeries(
            self.observed_at[which], self.soil_temp_c[which], self.depth_cm, offset_c
        )
