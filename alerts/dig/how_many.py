"""How many vines to dig by lot in a season, by what was dug so far, and how sure that makes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from alerts.dig.freedom import find_vines_after, follow_confidence
from alerts.dig.sampling import Design, find_vines_to_dig


@dataclass(frozen=True)
class HowMany:
    """How many vines to dig by lot.

    wanted : with nothing dug so far; None: not even all of them give that confidence
    at_start, now : how sure it was before the season and is now, by digs by lot without a find;
        None where there were none
    dug_now : by lot in the season
    still : to dig in the season; None as `wanted`
    """

    design: Design
    confidence: float
    season: int
    wanted: int | None
    at_start: float | None
    now: float | None
    dug_now: int
    still: int | None


def find_how_many(
    design: Design,
    confidence: float,
    by_lot: Mapping[int, int],
    season: int,
    introduction: float,
) -> HowMany:
    """Return how many vines to dig by lot in a season.

    Parameters
    ----------
    by_lot : mapping
        Season to the vines that were dug by lot in it, all without a find.
    introduction : float
        The chance in a year that the block becomes infested to the design prevalence.
    """
    dug_now = by_lot.get(season, 0)
    wanted = still = find_vines_to_dig(design, confidence)
    at_start = now = None
    if by_lot:
        at_start, now = follow_confidence(design, by_lot, season, introduction)
        still = find_vines_after(design, confidence, at_start)
    still = None if still is None else max(0, still - dug_now)
    return HowMany(design, confidence, season, wanted, at_start, now, dug_now, still)
