"""What digs without a find say together, season after season."""

from __future__ import annotations

from collections.abc import Mapping

from alerts.dig.sampling import Design, find_chance, find_vines_to_dig

EVEN = 0.5
"""Before any dig: as likely as not. Common practice, no source."""


def follow_confidence(
    design: Design, dug: Mapping[int, int], season: int, introduction: float, before: float = EVEN
) -> tuple[float, float]:
    """Return the chance that less is infested than the design says, before and after a season.

    Parameters
    ----------
    dug : mapping
        Season to the vines that were dug by lot in it, all without a find. A season that is not
        in it was not looked at; it still gives the insect its chance to come.
    season : int
        The last one that counts.
    introduction : float
        The chance in a year that the block becomes infested to the design prevalence.
    before : float
        The chance before the first season.

    References
    ----------
    [MARTIN-2007]
    """
    at_start = chance = before
    first = min((one for one in dug if one <= season), default=season)
    for one in range(first, season + 1):
        if one > first:
            chance *= 1.0 - introduction  # 1 - [(1 - P) + p - (1 - P) p]
        at_start = chance
        chance = update_chance(chance, find_chance(design, dug.get(one, 0)))
    return at_start, chance


def update_chance(chance: float, sensitivity: float) -> float:
    """Return the chance after a search without a find that would have found with `sensitivity`."""
    return chance / (chance + (1.0 - chance) * (1.0 - sensitivity))


def find_vines_after(design: Design, confidence: float, at_start: float) -> int | None:
    """Return the fewest vines by lot that lift a chance to a confidence in one season; None: none.

    The `at_start` of `follow_confidence` of that season.
    """
    if at_start >= confidence:
        return 0
    needed = 1.0 - at_start * (1.0 - confidence) / ((1.0 - at_start) * confidence)
    return find_vines_to_dig(design, needed)
