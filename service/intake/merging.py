"""What the readings of a file are to those the store holds: new, identical or conflicting."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probes.checks import flag_gross_range
from probes.frames import Readings


@dataclass(frozen=True)
class Findings:
    """One probe's readings in a file, held against the store.

    new : the first value of each instant at which the store holds none
    identical : how many readings repeat the value that is kept
    other_at, other_c : (n,) readings that differ from the value that is kept
    kept_c : (n,) float64, that value
    """

    new: Readings
    identical: int
    other_at: NDArray[np.datetime64]
    other_c: NDArray[np.float64]
    kept_c: NDArray[np.float64]


def compare_readings(
    observed_at: NDArray[np.datetime64], soil_temp_c: NDArray[np.float64], stored: Readings
) -> Findings:
    """Return what readings, as they stand in a file, are to the stored ones of their time.

    The value that came first is kept, in the store or else in the file: a file read row by row
    would give the same.
    """
    instants, first, of_instant = np.unique(observed_at, return_index=True, return_inverse=True)
    kept_c = soil_temp_c[first]
    place = np.searchsorted(stored.observed_at, instants)
    held = np.isin(instants, stored.observed_at, assume_unique=True)
    kept_c[held] = stored.soil_temp_c[place[held]]
    new_c = kept_c[~held]
    same = soil_temp_c == kept_c[of_instant]
    return Findings(
        new=Readings(instants[~held], new_c, flag_gross_range(new_c)),
        identical=int(same.sum()) - new_c.size,
        other_at=observed_at[~same],
        other_c=soil_temp_c[~same],
        kept_c=kept_c[of_instant[~same]],
    )


def merge_readings(stored: Readings, new: Readings) -> Readings:
    """Return both together; no instant stands in both."""
    if not stored.observed_at.size:
        return new
    both = Readings(
        np.concatenate([stored.observed_at, new.observed_at]),
        np.concatenate([stored.soil_temp_c, new.soil_temp_c]),
        np.concatenate([stored.flag, new.flag]),
    )
    return both.where(np.argsort(both.observed_at, kind="stable"))
