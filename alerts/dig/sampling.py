"""How many vines to dig, drawn by lot over the whole block, and what so many can show.

Exact: the vines that are infested and the vines that are dug overlap hypergeometrically, and each
infested vine that is dug is missed by itself with chance 1 - sensitivity [CAMERON-1998]. A draw by
lot needs no assumption on where in the block the infested vines stand; digs that are aimed at weak
patches are no such draw, and nothing here is for them.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from math import ceil

import numpy as np
from scipy.stats import hypergeom

FORMULA = "exact hypergeometric, imperfect sensitivity"


@dataclass(frozen=True)
class Design:
    """What a sample of a block is to find.

    vines : in the block
    prevalence : the least share of them, infested, that is to be found, in (0, 1]
    sensitivity : the chance that the digging of an infested vine shows it, in (0, 1]
    """

    vines: int
    prevalence: float
    sensitivity: float

    @property
    def infested(self) -> int:
        """How many vines the design prevalence is: rounded, a half down, and at least one."""
        return max(1, ceil(round(self.vines * self.prevalence, 9) - 0.5))

    @property
    def ceiling(self) -> float:
        """The chance of a find where every vine is dug: no confidence lies above it."""
        return find_chance(self, self.vines)


def find_chance(design: Design, dug: int) -> float:
    """Return the chance that at least one of `dug` vines drawn by lot shows the insect.

    For a block in which exactly the design prevalence is infested; where more is, it is higher.

    References
    ----------
    [CAMERON-1998]
    """
    hit = np.arange(min(dug, design.infested) + 1)
    chance = hypergeom.pmf(hit, design.vines, design.infested, dug)
    return 1.0 - float(chance @ (1.0 - design.sensitivity) ** hit)


def find_vines_to_dig(design: Design, confidence: float) -> int | None:
    """Return the fewest vines by lot that give a confidence; None where all of them do not."""
    missed_at_most = 1.0 - confidence + 1e-12
    if 1.0 - design.ceiling > missed_at_most:
        return None
    return bisect_left(
        range(design.vines + 1),
        True,
        key=lambda dug: 1.0 - find_chance(design, dug) <= missed_at_most,
    )
