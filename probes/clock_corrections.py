"""Clocks that were wrong by a constant for a while: what to add to their stamps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class ClockCorrection:
    """A constant error of a clock.

    stamped_from, stamped_until : the first stamp it holds for and the first it no longer holds
        for, as the logger stamped them, its layout's clock taken to UTC
    add_s : what was wrong [s], to be added
    """

    stamped_from: datetime
    stamped_until: datetime
    add_s: int


def find_shifts(
    stamped_at: NDArray[np.datetime64], corrections: Sequence[ClockCorrection]
) -> NDArray[np.timedelta64]:
    """Return what to add to each stamp.

    Parameters
    ----------
    stamped_at : array of datetime64[us], shape (n,)
        Stamps by the logger's clock, as UTC; NaT where there is none.
    corrections : sequence of ClockCorrection
        Their spans do not overlap.

    Returns
    -------
    array of timedelta64[us], shape (n,)
        0 where no correction holds.
    """
    shift = np.zeros(stamped_at.size, "timedelta64[us]")
    for one in corrections:
        first, end = (
            np.datetime64(at.astimezone(UTC).replace(tzinfo=None), "us")
            for at in (one.stamped_from, one.stamped_until)
        )
        shift[(stamped_at >= first) & (stamped_at < end)] = np.timedelta64(one.add_s, "s")
    return shift
