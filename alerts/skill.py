"""How good hindcasts were, by lead: errors, skill, coverage, reliability, with what chance allows.

Days of one season go together, and so do the blocks of one valley: intervals come from drawing
whole seasons again and again (a bootstrap by season).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from alerts.hindcasts import Hindcasts
from alerts.scores import find_errors, find_skill

BANDS_D = ((1, 7), (8, 14), (15, 30), (31, 60))
NEEDS_SEASONS = 3
_DRAWS = 2_000
_CHANCE_EDGES = (0.0, 0.05, 0.25, 0.5, 0.75, 0.95, 1.0)


@dataclass(frozen=True)
class Share:
    """A share or skill, NaN where there is none to tell, and between what it may truly lie; None
    with fewer than 3 seasons."""

    value: float
    low: float | None
    high: float | None


@dataclass(frozen=True)
class BandScore:
    """The scores of the outlooks issued `lead_d` (from, to) days before what came.

    mae_d, bias_d : of the median day; positive: too late
    crps_d : and by how much it is better than that of climatology and of persistence
    coverage : of the interval from p10 to p90
    """

    lead_d: tuple[int, int]
    outlooks: int
    seasons: int
    mae_d: float
    bias_d: float
    crps_d: float
    over_climatology: Share
    over_persistence: Share
    coverage: Share


@dataclass(frozen=True)
class ReliabilityBin:
    """How often a window opened within 14 days when the chance given was about `chance`."""

    chance: float
    happened: float
    outlooks: int


def score_bands(hindcasts: Hindcasts) -> list[BandScore]:
    """Return the scores of each band of leads that has outlooks."""
    found: list[BandScore] = []
    for first, last in BANDS_D:
        some = hindcasts.where((hindcasts.lead_d >= first) & (hindcasts.lead_d <= last))
        if not some.season.size:
            continue
        errors = find_errors(some.p50_d, some.observed_d)
        found.append(
            BandScore(
                (first, last),
                errors.count,
                np.unique(some.season).size,
                errors.mae_d,
                errors.bias_d,
                float(some.crps_d.mean()),
                by_season(some, lambda one: _skill(one.crps_d, one.climatology_crps_d)),
                by_season(some, lambda one: _skill(one.crps_d, one.persistence_crps_d)),
                by_season(some, covered),
            )
        )
    return found


def covered(hindcasts: Hindcasts) -> float:
    """Return the share of outlooks whose interval held what came, its ends included."""
    return float(np.mean(_held(hindcasts)))


def _held(hindcasts: Hindcasts) -> NDArray[np.bool_]:
    observed_d = hindcasts.observed_d
    return (hindcasts.p10_d <= observed_d) & (observed_d <= hindcasts.p90_d)


def find_reliability(hindcasts: Hindcasts) -> list[ReliabilityBin]:
    """Return, for outlooks issued before the opening, chances given beside what happened."""
    ahead = hindcasts.where(hindcasts.lead_d > 0)
    which = np.digitize(ahead.chance_14, _CHANCE_EDGES[1:-1])
    happened = ahead.lead_d <= 14
    return [
        ReliabilityBin(
            float(ahead.chance_14[which == one].mean()),
            float(happened[which == one].mean()),
            int((which == one).sum()),
        )
        for one in np.unique(which)
    ]


def _skill(score_d: NDArray[np.float64], reference_d: NDArray[np.float64]) -> float:
    return find_skill(float(score_d.mean()), float(reference_d.mean()))


def by_season(hindcasts: Hindcasts, statistic: Callable[[Hindcasts], float]) -> Share:
    """Return a statistic of hindcasts, and between what it lies when seasons are drawn again."""
    value = statistic(hindcasts)
    seasons, of_row = np.unique(hindcasts.season, return_inverse=True)
    if seasons.size < NEEDS_SEASONS:
        return Share(value, None, None)
    rows = [np.flatnonzero(of_row == season) for season in range(seasons.size)]
    rng = np.random.default_rng(seasons.size)
    drawn = [
        statistic(hindcasts.where(np.concatenate([rows[season] for season in again])))
        for again in rng.integers(seasons.size, size=(_DRAWS, seasons.size))
    ]
    if np.isnan(value):
        return Share(value, None, None)
    low, high = np.nanquantile(drawn, [0.025, 0.975])
    return Share(value, float(low), float(high))
