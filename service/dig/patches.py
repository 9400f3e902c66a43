"""From the store to the weak patches of a block, and the vines to dig there."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date

from sqlalchemy import Connection

from alerts.dig.patches import Patch, Survey, survey_block
from alerts.dig.vigour import Planting
from alerts.dig.vines import DigVine, choose_vines
from service.store.vigour import KeptVigour, SetAside, fetch_set_aside, fetch_vigour

VINES_EACH = 12
"""How many vines to dig at each patch, unless said."""


@dataclass(frozen=True, eq=False)
class BlockPatches:
    """The patches of a block by what was measured last.

    before : the day of what was measured before that, which growth is against
    aside : those of the patches that are set aside, by their number
    dig : the vines to dig, the patches not set aside in turn by score
    """

    last: KeptVigour
    before: date | None
    survey: Survey
    aside: dict[int, SetAside]
    dig: list[DigVine]

    @property
    def to_dig(self) -> list[Patch]:
        """The patches that nothing else explains."""
        return [one for one in self.survey.patches if one.number not in self.aside]


def find_block_patches(
    connection: Connection, block_id: str, planting: Planting, vines: int
) -> BlockPatches | None:
    """Return the weak patches of a block and `vines` to dig at each; None: nothing was measured.

    `find_aside` says which patches are set aside.
    """
    kept = fetch_vigour(connection, block_id, planting)
    if not kept:
        return None
    last, *before = kept
    earlier = [one.vines for old in before for one in survey_block(old.vigour).patches]
    survey = survey_block(last.vigour, earlier if before else None)
    aside = find_aside(survey.patches, fetch_set_aside(connection, block_id))
    dig = [
        vine
        for patch in survey.patches
        if patch.number not in aside
        for vine in choose_vines(survey, patch, vines)
    ]
    return BlockPatches(last, before[0].measured_on if before else None, survey, aside, dig)


def find_aside(patches: Iterable[Patch], said: Collection[SetAside]) -> dict[int, SetAside]:
    """Return those of the patches that are set aside, by their number.

    At least half of the vines of one lie in one that was: what grows beyond its cause comes back.
    """
    return {
        patch.number: one
        for patch in patches
        for one in said
        if 2 * len(patch.vines & one.vines) >= len(patch.vines)
    }
