"""How what is weak or infested has grown, and when it would reach a share of its block."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from itertools import pairwise
from math import log, sqrt

import numpy as np
from scipy.spatial import KDTree

from alerts.dig.records import DigRecord, Vine
from alerts.dig.vigour import Planting
from alerts.season import season_of

SLOW, FAST = 1.2, 3.8
"""Times as many infested vines in a year, as published [KING-BUCHANAN]."""
PACES: Mapping[str, float] = {"slow": SLOW, "middle": sqrt(SLOW * FAST), "fast": FAST}
"""The middle is that of the published range by multiplication; ours, no source."""
USUAL_REACH_M = (15.0, 27.0)
"""How far it goes within a vineyard in a year, as published [KING-BUCHANAN]."""
FARTHEST_REACH_M = 100.0
YEAR_DAYS = 365.25
LEAST_YEARS = 0.5
"""Over less nothing is said of a year. Ours, no source."""


class Pace(StrEnum):
    """How a growth lies to the published range."""

    SHRUNK = "not grown"
    SLOWER = "slower"
    WITHIN = "within"
    FASTER = "faster"


@dataclass(frozen=True)
class Extent:
    """The vines that were weak, or known to be infested, by a day."""

    day: date
    vines: frozenset[Vine]


@dataclass(frozen=True)
class Growth:
    """What became of an extent from a day to another.

    times_a_year : how many times as many vines in a year; None: too soon to say, or none before
    reach_m : how far the new vine that is farthest stands from the nearest one before, by year;
        None: too soon, none before, none new, or how far apart vines stand is not known. [m]
    """

    before: Extent
    after: Extent
    times_a_year: float | None
    reach_m: float | None

    @property
    def pace(self) -> Pace | None:
        """How it lies to the published range; None: nothing is said of a year."""
        if self.times_a_year is None:
            return None
        if self.times_a_year <= 1.0:
            return Pace.SHRUNK
        if self.times_a_year < SLOW:
            return Pace.SLOWER
        return Pace.WITHIN if self.times_a_year <= FAST else Pace.FASTER


def find_growth(extents: Sequence[Extent], planting: Planting | None) -> list[Growth]:
    """Return the growth from each extent to the next, in order of time."""
    return [_grow(before, after, planting) for before, after in pairwise(extents)]


def find_extents(
    records: Iterable[DigRecord], vines: Collection[Vine], south: bool
) -> list[Extent]:
    """Return how many of some vines were known by the end of each season that added any.

    Parameters
    ----------
    records : of one block, in any order
    vines : those with a find or a suspicion that stands
    """
    first: dict[Vine, date] = {}
    for one in sorted(records, key=lambda one: one.dug_on):
        if one.vine in vines:
            first.setdefault(one.vine, one.dug_on)
    last: dict[int, date] = {}
    for day in sorted(first.values()):
        last[season_of(day, south)] = day
    return [
        Extent(until, frozenset(vine for vine, day in first.items() if day <= until))
        for until in last.values()
    ]


def find_years(vines: int, of_vines: int, share: float, since: date) -> dict[str, int] | None:
    """Return the year in which a share of a block is reached, by pace; None: it is reached.

    As if the number of vines went on to grow by the same factor: near the whole block it goes
    slower than that.

    Parameters
    ----------
    vines : that are weak or infested on `since`, one at least
    of_vines : in the block

    References
    ----------
    [KING-BUCHANAN]
    """
    if vines >= share * of_vines:
        return None
    times = share * of_vines / vines
    return {
        pace: (since + timedelta(days=YEAR_DAYS * log(times) / log(a_year))).year
        for pace, a_year in PACES.items()
    }


def _grow(before: Extent, after: Extent, planting: Planting | None) -> Growth:
    years = (after.day - before.day).days / YEAR_DAYS
    if years < LEAST_YEARS or not before.vines:
        return Growth(before, after, None, None)
    times = (len(after.vines) / len(before.vines)) ** (1.0 / years)
    new = after.vines - before.vines
    reach_m = None
    if new and planting is not None:
        reach_m = _find_reach_m(before.vines, new, planting) / years
    return Growth(before, after, times, reach_m)


def _find_reach_m(old: Collection[Vine], new: Collection[Vine], planting: Planting) -> float:
    step_m = np.array([planting.row_m, planting.vine_m])
    tree = KDTree(np.array(sorted(old)) * step_m)
    far_m, _ = tree.query(np.array(sorted(new)) * step_m)
    return float(far_m.max())
