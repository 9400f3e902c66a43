"""The root-zone days of a block: its depths as measured, bridged for a while where one is lost."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from alerts.root_zone import Weights, find_basis
from probes.frames import RootZoneDays
from probes.soil.bridge import bridge

WORST_C = 0.5
"""What bridging may be wrong by; more is two or three days of spring, and no value. Ours."""


@dataclass(frozen=True)
class ProbeDays:
    """Daily means of some probes, all over the same consecutive days.

    mean_c : (n_probes, n_days) float64, NaN where a probe has no complete day [degC]
    error_c : (n_probes, n_days) float64, standard error of a day of the probe [degC]
    depth_cm : (n_probes, n_days) float64, NaN while a probe is not in use
    """

    mean_c: NDArray[np.float64]
    error_c: NDArray[np.float64]
    depth_cm: NDArray[np.float64]

    @property
    def depths_cm(self) -> list[float]:
        """Every depth that occurs, ascending."""
        return np.unique(self.depth_cm[~np.isnan(self.depth_cm)]).tolist()

    def mean_at_c(self, depth_cm: float) -> NDArray[np.float64]:
        """Return the mean of the probes at a depth, NaN where none has a complete day [degC]."""
        return _mean(self.mean_c, (self.depth_cm == depth_cm) & ~np.isnan(self.mean_c))

    def error_at_c(self, depth_cm: float) -> NDArray[np.float64]:
        """Return the standard error of the probes at a depth, whether they have a day [degC]."""
        return _mean(self.error_c, self.depth_cm == depth_cm)


@dataclass(frozen=True)
class _Depth:
    """One depth of a block: its days, the error of its sensors and that of bridging, 0 if none."""

    temp_c: NDArray[np.float64]
    sensor_c: NDArray[np.float64]
    bridging_c: NDArray[np.float64]


def find_block_days(
    days: NDArray[np.datetime64],
    own: ProbeDays,
    beside: ProbeDays,
    root_zone_cm: tuple[float, float],
    weights: Weights,
) -> RootZoneDays:
    """Return the root-zone days of a block.

    Parameters
    ----------
    days : array of datetime64[D], shape (n_days,)
        Consecutive.
    own : ProbeDays
        Of the probes that the block rests on; where one moves, the basis changes with that day.
    beside : ProbeDays
        Of other probes at its site: they only help to bridge.
    root_zone_cm : (top, bottom)
    weights : Weights

    Probes at one depth are averaged first. A depth of the basis without a complete day is bridged
    for a while (probes.soil.bridge) from the other depths, the block's own before those beside,
    near ones before far ones, and the day is estimated. Where that cannot be done, or its error
    would be larger than 0.5 degC, the day has no value. The errors of sensors are taken to be
    alike, and so are those of bridging; sensors and bridging err apart from each other.
    """
    depths = {depth_cm: _find_depth(depth_cm, own, beside) for depth_cm in own.depths_cm}
    zone_c = np.full(days.size, np.nan)
    sensor_c, bridging_c = np.zeros((2, days.size))
    bases: list[tuple[int, tuple[float, ...]]] = []
    for begin, end in pairwise([*_find_changes(own.depth_cm), days.size]):
        part = slice(begin, end)
        in_use = {float(z) for z in own.depth_cm[:, begin] if not np.isnan(z)}
        basis = find_basis(sorted(in_use), *root_zone_cm, weights)
        bases.append((begin, tuple(basis)))
        if basis:
            share = np.array(list(basis.values()))
            used = [depths[z] for z in basis]
            zone_c[part] = share @ [one.temp_c[part] for one in used]
            sensor_c[part] = share @ [one.sensor_c[part] for one in used]
            bridging_c[part] = share @ [one.bridging_c[part] for one in used]
    zone_c[bridging_c > WORST_C] = np.nan
    has_value = ~np.isnan(zone_c)
    return RootZoneDays(
        day=days,
        root_zone_c=zone_c,
        estimated=has_value & (bridging_c > 0),
        error_c=np.where(has_value, np.hypot(sensor_c, bridging_c), np.nan),
        bases=tuple(bases),
    )


def _find_changes(depth_cm: NDArray[np.float64]) -> list[int]:
    """Return the first day of each time in which no probe moves."""
    moved = ~np.isclose(depth_cm[:, 1:], depth_cm[:, :-1], rtol=0, atol=0, equal_nan=True)
    return [0, *(np.flatnonzero(moved.any(axis=0)) + 1).tolist()]


def _find_depth(depth_cm: float, own: ProbeDays, beside: ProbeDays) -> _Depth:
    """Return a depth of a block, bridged where it can be."""
    mean_c = own.mean_at_c(depth_cm)
    others_c = [
        probes.mean_at_c(z)
        for probes in (own, beside)
        for z in sorted(probes.depths_cm, key=lambda z: abs(z - depth_cm))
        if probes is beside or z != depth_cm
    ]
    bridged = bridge(mean_c, np.array(others_c))
    lost = ~np.isnan(bridged.temp_c)
    return _Depth(
        temp_c=np.where(lost, bridged.temp_c, mean_c),
        sensor_c=own.error_at_c(depth_cm),
        bridging_c=np.where(lost, bridged.error_c, 0.0),
    )


def _mean(value_c: NDArray[np.float64], which: NDArray[np.bool_]) -> NDArray[np.float64]:
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(which, value_c, 0.0).sum(axis=0) / which.sum(axis=0)
