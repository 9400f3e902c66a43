"""The root-zone days of a block: lost depths bridged for a while, shallow ones carried down."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from alerts.root_zone import Weights, find_basis, root_zone_weights
from probes.frames import RootZoneDays
from probes.hand_days import bridge_days
from probes.soil.bridge import bridge
from probes.soil.carry import Ground, carry
from probes.soil.damped_wave import S_PER_DAY

WORST_BRIDGED_C = 0.5
WORST_CARRIED_C = 1.0
"""Errors with which a day still has a value: up to two, and up to five days of spring. Ours."""

STEP_CM = 10.0
"""Between the depths to which a temperature is carried: in between it is a straight line."""


@dataclass(frozen=True)
class ProbeDays:
    """Daily means of some probes, all over the same consecutive days.

    mean_c : (n_probes, n_days) float64, NaN where a probe has no complete day [degC]
    error_c : (n_probes, n_days) float64, standard error of a day of the probe [degC]
    depth_cm : (n_probes, n_days) float64, NaN while a probe is not in use
    by_hand : (n_probes,) bool, whether it is a thermometer; None: none is
    between : (n_probes, n_days) bool, whether a day lies between two readings of a thermometer;
        None: none does
    """

    mean_c: NDArray[np.float64]
    error_c: NDArray[np.float64]
    depth_cm: NDArray[np.float64]
    by_hand: NDArray[np.bool_] | None = None
    between: NDArray[np.bool_] | None = None

    @property
    def depths_cm(self) -> list[float]:
        """Every depth that occurs, ascending."""
        if not self.depth_cm.size:
            return []
        occurring = self.depth_cm[:, _find_changes(self.depth_cm)]
        return np.unique(occurring[~np.isnan(occurring)]).tolist()

    def mean_at_c(self, depth_cm: float) -> NDArray[np.float64]:
        """Return the mean of the probes at a depth, NaN where none has a complete day [degC]."""
        return _mean(self.mean_c, (self.depth_cm == depth_cm) & ~np.isnan(self.mean_c))

    def error_at_c(self, depth_cm: float) -> NDArray[np.float64]:
        """Return the standard error of the probes at a depth, whether they have a day [degC]."""
        return _mean(self.error_c, self.depth_cm == depth_cm)

    def is_by_hand_at(self, depth_cm: float) -> NDArray[np.bool_]:
        """Return on which days a thermometer is in use at a depth."""
        if self.by_hand is None:
            return np.zeros(self.depth_cm.shape[1], bool)
        return ((self.depth_cm == depth_cm) & self.by_hand[:, None]).any(axis=0)

    def is_between_at(self, depth_cm: float) -> NDArray[np.bool_]:
        """Return which days of a depth lie between two readings of a thermometer."""
        if self.between is None:
            return np.zeros(self.depth_cm.shape[1], bool)
        return ((self.depth_cm == depth_cm) & self.between).any(axis=0)


def bridge_hand_days(probes: ProbeDays, by_hand: NDArray[np.bool_]) -> ProbeDays:
    """Return probes with the days between two readings of those filled in that are read by hand."""
    mean_c, error_c = probes.mean_c.copy(), probes.error_c.copy()
    between = np.zeros(mean_c.shape, bool)
    for place in np.flatnonzero(by_hand):
        mean_c[place], error_c[place], between[place] = bridge_days(
            mean_c[place], error_c[place], probes.depth_cm[place]
        )
    filled = replace(probes, mean_c=mean_c, error_c=error_c)
    return replace(filled, by_hand=by_hand, between=between)


@dataclass(frozen=True)
class _Depth:
    """One depth of a block: its days; errors of sensors, bridging and carrying, 0 where none.

    by_hand, between : 1 where it is read by hand, and where a day lies between two readings
    """

    temp_c: NDArray[np.float64]
    sensor_c: NDArray[np.float64]
    bridging_c: NDArray[np.float64]
    carrying_c: NDArray[np.float64]
    by_hand: NDArray[np.float64]
    between: NDArray[np.float64]


def find_block_days(
    days: NDArray[np.datetime64],
    own: ProbeDays,
    beside: ProbeDays,
    root_zone_cm: tuple[float, float],
    weights: Weights,
    ground: Ground | None = None,
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
    ground : Ground, optional
        The soil below the deepest probe: given, the root zone below that probe is carried from it
        instead of being taken to be as warm, also where no probe is near; every day is estimated.

    Probes at one depth are averaged first. A depth of the basis without a complete day is bridged
    for a while (probes.soil.bridge) from the other depths, the block's own before those beside,
    near ones before far ones, and the day is estimated. Where that cannot be done the day has no
    value, nor where bridging may err by more than 0.5 degC or carrying by more than 1 degC. The
    errors of sensors are taken to be alike, and so are those of bridging and of carrying; the three
    err apart from each other.
    """
    depths = {depth_cm: _find_depth(depth_cm, own, beside) for depth_cm in own.depths_cm}
    zone = _Depth(*np.zeros((6, days.size)))
    zone.temp_c[:] = np.nan
    bases: list[tuple[int, tuple[float, ...]]] = []
    carried = np.zeros(days.size, bool)
    for begin, end in pairwise([*_find_changes(own.depth_cm), days.size]):
        part = slice(begin, end)
        in_use = sorted({float(z) for z in own.depth_cm[:, begin] if not np.isnan(z)})
        carried[part] = ground is not None and bool(in_use) and in_use[-1] < root_zone_cm[1]
        if ground is not None and carried[begin]:
            share, used = _carried_down(in_use, depths, root_zone_cm, weights, ground)
            basis = [z for z in in_use if share.get(z, 0) > 0 or z == in_use[-1]]
        else:
            share, used = find_basis(in_use, *root_zone_cm, weights), depths
            basis = list(share)
        bases.append((begin, tuple(basis)))
        if share:
            for name, of_zone in vars(zone).items():
                values = [vars(used[z])[name][part] for z in share]
                of_zone[part] = np.array(list(share.values())) @ values
    zone.temp_c[(zone.bridging_c > WORST_BRIDGED_C) | (zone.carrying_c > WORST_CARRIED_C)] = np.nan
    has_value = ~np.isnan(zone.temp_c)
    error_c = np.sqrt(zone.sensor_c**2 + zone.bridging_c**2 + zone.carrying_c**2)
    return RootZoneDays(
        day=days,
        root_zone_c=zone.temp_c,
        estimated=has_value & ((zone.bridging_c > 0) | (zone.between > 0) | carried),
        error_c=np.where(has_value, error_c, np.nan),
        carried=carried,
        bases=tuple(bases),
        by_hand=has_value & (zone.by_hand > 0),
        lent=np.zeros((0, days.size), bool),
    )


def _carried_down(
    in_use_cm: list[float],
    depths: Mapping[float, _Depth],
    root_zone_cm: tuple[float, float],
    weights: Weights,
    ground: Ground,
) -> tuple[dict[float, float], dict[float, _Depth]]:
    """Return shares and depths, those below the deepest probe carried down from it."""
    source_cm, bottom_cm = in_use_cm[-1], root_zone_cm[1]
    source = depths[source_cm]
    below_cm = [
        *np.arange(source_cm + STEP_CM, bottom_cm - STEP_CM / 2, STEP_CM).tolist(),
        bottom_cm,
    ]
    used = {z: depths[z] for z in in_use_cm}
    for z in below_cm:
        deeper = carry(source.temp_c, S_PER_DAY, (z - source_cm) / 100, ground)
        used[z] = replace(source, temp_c=deeper.temp_c, carrying_c=deeper.sd_c)
    share = root_zone_weights(list(used), *root_zone_cm, weights)
    return {z: float(one) for z, one in zip(used, share, strict=True) if one > 0}, used


def _find_changes(depth_cm: NDArray[np.float64]) -> list[int]:
    """Return the first day of each time in which no probe moves."""
    before, after = depth_cm[:, :-1], depth_cm[:, 1:]
    moved = (before != after) & ~(np.isnan(before) & np.isnan(after))
    return [0, *(np.flatnonzero(moved.any(axis=0)) + 1).tolist()]


def _find_depth(depth_cm: float, own: ProbeDays, beside: ProbeDays) -> _Depth:
    """Return a depth of a block, bridged where it can be."""
    mean_c = own.mean_at_c(depth_cm)
    nothing_c = np.zeros(mean_c.size)
    depth = _Depth(
        mean_c,
        own.error_at_c(depth_cm),
        nothing_c,
        nothing_c,
        by_hand=own.is_by_hand_at(depth_cm).astype(np.float64),
        between=own.is_between_at(depth_cm).astype(np.float64),
    )
    known = ~np.isnan(mean_c)
    if known[known.argmax() :].all():  # most depths of most blocks: nothing is lost
        return depth
    others_c = [
        probes.mean_at_c(z)
        for probes in (own, beside)
        for z in sorted(probes.depths_cm, key=lambda z: abs(z - depth_cm))
        if probes is beside or z != depth_cm
    ]
    bridged = bridge(mean_c, np.array(others_c))
    lost = ~np.isnan(bridged.temp_c)
    return replace(
        depth,
        temp_c=np.where(lost, bridged.temp_c, mean_c),
        bridging_c=np.where(lost, bridged.error_c, 0.0),
    )


def _mean(value_c: NDArray[np.float64], which: NDArray[np.bool_]) -> NDArray[np.float64]:
    rows = np.flatnonzero(which.any(axis=1))
    if rows.size == 1:  # as most depths of most blocks have
        return np.where(which[rows[0]], value_c[rows[0]], np.nan)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(which, value_c, 0.0).sum(axis=0) / which.sum(axis=0)
