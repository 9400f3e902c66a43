"""From the store to how what is weak or infested has grown in blocks, and what follows."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from sqlalchemy import Connection

from alerts.dig.patches import survey_block
from alerts.dig.records import DigRecord, Vine
from alerts.dig.spread import Extent, Growth, find_extents, find_growth, find_years
from alerts.dig.status import BlockStatus
from alerts.dig.vigour import Planting
from service.dig.patches import find_aside
from service.dig.status import count_vines, find_statuses, group_records
from service.store.blocks import Block
from service.store.stands import Stand, fetch_stands
from service.store.vigour import fetch_measured, fetch_planting, fetch_set_aside, fetch_vigour


@dataclass(frozen=True)
class BlockSpread:
    """How a block stands, what is weak or infested in it, and how that has grown.

    vines : in the block; None: not known
    weak : the vines of weak patches that nothing else explains, by the last survey; None: there
        was no survey
    weak_growth : of all of them, from survey to survey
    patch_growth : of each patch of the last survey by its number, from the patches it covers
    found_growth : of the vines with a find or a suspicion, season by season
    """

    block: Block
    status: BlockStatus
    stand: Stand
    vines: int | None
    weak: Extent | None = None
    weak_growth: Sequence[Growth] = ()
    patch_growth: Mapping[int, list[Growth]] = field(default_factory=dict)
    found_growth: Sequence[Growth] = ()

    @property
    def affected(self) -> frozenset[Vine]:
        """The vines that are weak, and those with a find or a suspicion."""
        return self.status.vines | (self.weak.vines if self.weak else frozenset())

    @property
    def share(self) -> float | None:
        """Of the vines of the block; None: how many it has is not known, or none of them is.

        Nothing known is no share of none.
        """
        known = len(self.affected)
        return min(1.0, known / self.vines) if self.vines and known else None

    @property
    def since(self) -> date:
        """The day that the share is of."""
        return self.weak.day if self.weak else self.status.as_of

    @property
    def age(self) -> int | None:
        """Years since the block was planted."""
        planted = self.stand.planted
        return None if planted is None else self.status.as_of.year - planted

    def find_years(self, share: float) -> dict[str, int] | None:
        """Return the year in which a share of the block is reached, by pace.

        None where it is reached, or there is no share now.
        """
        if self.vines is None or self.share is None:
            return None
        return find_years(len(self.affected), self.vines, share, self.since)


def find_spread(
    connection: Connection, blocks: Sequence[Block], as_of: Mapping[str, date]
) -> list[BlockSpread]:
    """Return how far it has come in each block, by the end of its own day."""
    ids = [one.id for one in blocks]
    statuses, records = find_statuses(connection, blocks, as_of), group_records(connection, ids)
    stands, vines = fetch_stands(connection, ids), count_vines(connection, ids)
    measured = fetch_measured(connection)
    return [
        _find_one(
            connection,
            block,
            statuses[block.id],
            [one for one in records.get(block.id, ()) if one.dug_on <= as_of[block.id]],
            stands[block.id],
            vines[block.id],
        )
        if block.id in measured or block.id in records
        else BlockSpread(block, statuses[block.id], stands[block.id], vines[block.id])
        for block in blocks
    ]


def _find_one(
    connection: Connection,
    block: Block,
    status: BlockStatus,
    records: Collection[DigRecord],
    stand: Stand,
    vines: int | None,
) -> BlockSpread:
    planting = fetch_planting(connection, block.id)
    surveys = _find_patches(connection, block.id, planting, status.as_of) if planting else []
    extents = [Extent(day, frozenset().union(*patches.values())) for day, patches in surveys]
    found = find_extents(records, status.vines, block.south)
    return BlockSpread(
        block=block,
        status=status,
        stand=stand,
        vines=vines,
        weak=extents[-1] if extents else None,
        weak_growth=find_growth(extents, planting),
        patch_growth={
            number: find_growth(_follow(patch, surveys), planting)
            for number, patch in (surveys[-1][1].items() if surveys else ())
        },
        found_growth=find_growth(found, planting),
    )


def _find_patches(
    connection: Connection, block_id: str, planting: Planting, as_of: date
) -> list[tuple[date, dict[int, frozenset[Vine]]]]:
    """Return the patches of each survey by the measure of the last, by number, in order of time.

    Those that are set aside now are left out of all.
    """
    kept = [
        one
        for one in fetch_vigour(connection, block_id, planting, every_day=True)
        if one.measured_on <= as_of
    ]
    said = fetch_set_aside(connection, block_id)
    surveys = []
    for one in reversed(kept):
        if one.measure == kept[0].measure:
            patches = survey_block(one.vigour).patches
            aside = find_aside(patches, said)
            named = {patch.number: patch.vines for patch in patches if patch.number not in aside}
            surveys.append((one.measured_on, named))
    return surveys


def _follow(
    patch: frozenset[Vine], surveys: Sequence[tuple[date, dict[int, frozenset[Vine]]]]
) -> list[Extent]:
    """Return a patch of the last survey, and before it what of each survey it covers."""
    before = [
        Extent(day, frozenset().union(*(one for one in patches.values() if one & patch)))
        for day, patches in surveys[:-1]
    ]
    return [*before, Extent(surveys[-1][0], patch)]
