"""Neighbouring depths: the probes of a logger judged by each other.

With depth the daily wave gets smaller and later, and the means of a day differ only so much. Where
two probes contradict this, one of them at least is wrong: the one that contradicts more of the
others, or both. A swapped pair, a probe out of the ground and one that drifts show in this way.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import tau

import numpy as np
from numpy.typing import NDArray

from probes.checks.daily_wave import DAY_H, TOLERANCE, DailyWaves
from probes.checks.measures import DAMPING_CM, damped
from probes.checks.series import ProbeSeries
from probes.frames import GOOD, NOT_EVALUATED, SUSPECT


@dataclass(frozen=True)
class Neighbours:
    """What two depths must keep to; ours, with room for every day of [US-TW3] and [UTAH-PROFILE].

    days : over which the daily wave is taken, and one more; for the daily range, too [d]
    longest_gap_h : between readings that cover them, for both [h]
    amplitude_share, amplitude_c : the deeper amplitude may be this share of the shallower one, and
        this much more [degC]
    lag_h : by which the deeper wave may lead [h]
    lag_within_cm : between the two, so that in no soil of [MOENE-2014] it lags half a day [cm]
    lag_needs_c : the smaller amplitude, for its peak to be known [degC]
    level_c : by which means may differ [degC]
    level_surface_c, damping_cm : and by what is lost between them of this much at the surface
    level_c_per_cm : and for each cm between them, the yearly wave [degC]
    """

    days: int = 3
    longest_gap_h: float = 6.0
    amplitude_share: float = 1.0
    amplitude_c: float = 0.2
    lag_h: float = 1.0
    lag_within_cm: float = 15.0
    lag_needs_c: float = 0.5
    level_c: float = 1.5
    level_surface_c: float = 8.0
    damping_cm: float = DAMPING_CM
    level_c_per_cm: float = 0.08


@dataclass(frozen=True)
class Pair:
    """Two probes, the shallower first, and at which hours they contradict what soil does.

    known : (m,) bool, where both are covered
    larger, earlier, apart : (m,) bool, the deeper swings more, peaks earlier; their means differ
    """

    shallow: int
    deep: int
    known: NDArray[np.bool_]
    larger: NDArray[np.bool_]
    earlier: NDArray[np.bool_]
    apart: NDArray[np.bool_]

    @property
    def wrong(self) -> NDArray[np.bool_]:
        """Where they contradict it in any way."""
        return self.larger | self.earlier | self.apart


def flag_neighbours(
    probes: Sequence[ProbeSeries], waves: DailyWaves, limits: Neighbours
) -> list[NDArray[np.int8]]:
    """Return the results of the readings of each probe; not evaluated without another depth."""
    pairs = list(_compare(probes, waves, limits))
    known, suspect = _judge(pairs, waves.mean_c.shape)
    found = np.where(suspect, SUSPECT, np.where(known, GOOD, NOT_EVALUATED)).astype(np.int8)
    results = []
    for probe, series in enumerate(probes):
        rows = waves.rows(series)
        results.append(np.where(rows < 0, np.int8(NOT_EVALUATED), found[rows, probe]))
    return results


def explain_neighbours(
    probes: Sequence[ProbeSeries], probe: int, place: int, waves: DailyWaves, limits: Neighbours
) -> str:
    """Return which depths a probe contradicts, and how."""
    row = int(waves.rows(probes[probe])[place])
    found = [
        _explain_pair(pair, probe, row, probes, waves)
        for pair in _compare(probes, waves, limits)
        if row >= 0 and probe in (pair.shallow, pair.deep) and pair.wrong[row]
    ]
    return "; ".join(found) or "no other depth whose readings cover the same days"


def _compare(
    probes: Sequence[ProbeSeries], waves: DailyWaves, limits: Neighbours
) -> Iterator[Pair]:
    """Yield each pair of probes at different depths."""
    amplitude_c = np.abs(waves.wave_c)
    known_depths = [place for place, probe in enumerate(probes) if not np.isnan(probe.depth_cm)]
    by_depth = sorted(known_depths, key=lambda place: probes[place].depth_cm)
    for shallow, deep in combinations(by_depth, 2):
        apart_cm = probes[deep].depth_cm - probes[shallow].depth_cm
        if apart_cm == 0:
            continue
        low_c, high_c = amplitude_c[:, deep], amplitude_c[:, shallow]
        near = apart_cm <= limits.lag_within_cm
        peaks = near & (np.minimum(low_c, high_c) >= limits.lag_needs_c + TOLERANCE)
        lag_h = _find_lag_h(waves, shallow, deep)
        differ_c = np.abs(waves.mean_c[:, deep] - waves.mean_c[:, shallow])
        yield Pair(
            shallow,
            deep,
            known=~np.isnan(low_c + high_c),
            larger=low_c > limits.amplitude_share * high_c + limits.amplitude_c + TOLERANCE,
            earlier=peaks
            & (lag_h < -limits.lag_h - TOLERANCE)
            & (apart_cm <= limits.lag_within_cm),
            apart=differ_c > _level_limit_c(probes[shallow], probes[deep], limits) + TOLERANCE,
        )


def _judge(
    pairs: Sequence[Pair], shape: tuple[int, ...]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return, hours x probes, which are known and which are suspect."""
    known, suspect = np.zeros(shape, np.bool_), np.zeros(shape, np.bool_)
    wrongs = np.zeros(shape, np.int8)
    for pair in pairs:
        for probe in (pair.shallow, pair.deep):
            known[:, probe] |= pair.known
            wrongs[:, probe] += pair.wrong
    for pair in pairs:
        one, other = wrongs[:, pair.shallow], wrongs[:, pair.deep]
        suspect[:, pair.shallow] |= pair.wrong & (one >= other)
        suspect[:, pair.deep] |= pair.wrong & (other >= one)
    return known, suspect


def _explain_pair(
    pair: Pair, probe: int, row: int, probes: Sequence[ProbeSeries], waves: DailyWaves
) -> str:
    other = pair.shallow if probe == pair.deep else pair.deep
    own_cm, other_cm = probes[probe].depth_cm, probes[other].depth_cm
    ways = []
    if pair.larger[row]:
        deep_c, shallow_c = (
            2 * abs(waves.wave_c[row, place]) for place in (pair.deep, pair.shallow)
        )
        ways.append(
            f"{probes[pair.deep].depth_cm:g} cm swings by {deep_c:.1f} °C over a day and "
            f"{probes[pair.shallow].depth_cm:g} cm by {shallow_c:.1f} °C"
        )
    if pair.earlier[row]:
        lead_h = -_find_lag_h(waves, pair.shallow, pair.deep)[row]
        ways.append(
            f"{probes[pair.deep].depth_cm:g} cm peaks {lead_h:.1f} h before "
            f"{probes[pair.shallow].depth_cm:g} cm"
        )
    if pair.apart[row]:
        differ_c = waves.mean_c[row, probe] - waves.mean_c[row, other]
        ways.append(
            f"the mean of a day at {own_cm:g} cm is {abs(differ_c):.1f} °C "
            f"{'above' if differ_c > 0 else 'below'} that at {other_cm:g} cm"
        )
    return ", ".join(ways)


def _find_lag_h(waves: DailyWaves, shallow: int, deep: int) -> NDArray[np.float64]:
    """Return by how much the deeper wave is later, between half a day earlier and later."""
    turn = np.angle(waves.wave_c[:, shallow] * np.conj(waves.wave_c[:, deep]))
    return turn * DAY_H / tau


def _level_limit_c(shallow: ProbeSeries, deep: ProbeSeries, limits: Neighbours) -> float:
    """Return by how much the means of a day may differ between two depths."""
    near, far = (
        damped(limits.level_surface_c, probe.depth_cm, limits.damping_cm)
        for probe in (shallow, deep)
    )
    apart_cm = deep.depth_cm - shallow.depth_cm
    return limits.level_c + near - far + limits.level_c_per_cm * apart_cm
