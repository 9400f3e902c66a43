"""Vines drawn by lot over a block, so that anyone can draw the same again from the seed."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from hashlib import sha256
from math import ceil

from alerts.dig.patches import Vine

MOST_SEED = 999_999
SPARE_SHARE = 0.1
LEAST_SPARE = 3


@dataclass(frozen=True)
class Lot:
    """Vines drawn by lot.

    drawn : by row and number, as one walks
    spare : in the order in which they stand in for drawn vines that are not there
    of : how many vines it was drawn from
    """

    seed: int
    drawn: tuple[Vine, ...]
    spare: tuple[Vine, ...]
    of: int


def draw_vines(vines: Collection[Vine], count: int, seed: int) -> Lot:
    """Draw some vines by lot: those whose SHA-256 of "seed:row:number" comes first.

    Each set of so many vines is as likely as another. A drawn vine that is not there is made good
    by the next of the spare ones, which leaves the draw what it is.

    Raises
    ------
    ValueError
        Where there are fewer vines than are to be drawn.
    """
    if count > len(vines):
        raise ValueError(f"{count} vines cannot be drawn from {len(vines)}")
    order = sorted(vines, key=lambda one: sha256(f"{seed}:{one[0]}:{one[1]}".encode()).digest())
    spare = max(LEAST_SPARE, ceil(SPARE_SHARE * count)) if count else 0
    return Lot(seed, tuple(sorted(order[:count])), tuple(order[count : count + spare]), len(vines))
