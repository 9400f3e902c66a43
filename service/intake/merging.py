"""What the readings of a file are to those the store holds: new, identical or conflicting.

Said twice: by `compare_readings` as a file comes, by `resolve_readings` when all deliveries are
told again. The value that came first is kept and others are listed, until a person says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probes.frames import NOT_EVALUATED, Readings


@dataclass(frozen=True)
class Findings:
    """One probe's readings in a file, held against the store.

    new : the first value of each instant at which the store holds none, not checked yet
    new_place : (n,) intp, where in the file each of them stands
    identical : how many readings repeat the value that is kept
    other_at, other_c : (n,) readings that differ from the value that is kept
    kept_c : (n,) float64, that value
    """

    new: Readings
    new_place: NDArray[np.intp]
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
        new=Readings(instants[~held], new_c, np.full(new_c.size, NOT_EVALUATED, np.int8)),
        new_place=first[~held],
        identical=int(same.sum()) - new_c.size,
        other_at=observed_at[~same],
        other_c=soil_temp_c[~same],
        kept_c=kept_c[of_instant[~same]],
    )


@dataclass(frozen=True)
class Resolution:
    """What is kept of all values ever told of a probe.

    kept : (k,) intp, where among them the kept value of each instant stands, ascending in time
    others : (m,) intp, where each other value of an instant was told first, in order of arrival
    differs : (n,) bool, which of them are not the value that is kept
    """

    kept: NDArray[np.intp]
    others: NDArray[np.intp]
    differs: NDArray[np.bool_]


def resolve_readings(
    observed_at: NDArray[np.datetime64],
    soil_temp_c: NDArray[np.float64],
    settled_at: NDArray[np.datetime64],
    settled_c: NDArray[np.float64],
) -> Resolution:
    """Return what is kept of values in order of arrival, and which are listed beside it.

    The first value of an instant is kept, or the one that is settled where someone told it.
    `settled_at` is ascending.
    """
    _, kept, of_instant = np.unique(observed_at, return_index=True, return_inverse=True)
    if settled_at.size:
        near = np.minimum(np.searchsorted(settled_at, observed_at), settled_at.size - 1)
        is_settled = (settled_at[near] == observed_at) & (settled_c[near] == soil_temp_c)
        told = np.flatnonzero(is_settled)[::-1]  # of an instant's several the first is set last
        kept[of_instant[told]] = told
    differs = soil_temp_c != soil_temp_c[kept[of_instant]]
    places = np.flatnonzero(differs)
    places = places[np.lexsort((places, soil_temp_c[places], of_instant[places]))]
    pairs = of_instant[places], soil_temp_c[places]
    is_first = np.ones(places.size, np.bool_)
    is_first[1:] = np.any([pair[1:] != pair[:-1] for pair in pairs], axis=0)
    return Resolution(kept, np.sort(places[is_first]), differs)
