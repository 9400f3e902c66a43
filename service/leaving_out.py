"""How good borrowing is: each block with probes told from its neighbours as if it had none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from alerts.bounds import DateRange
from alerts.neighbours import LOOK_BACK_DAYS
from alerts.notices import NeighbourSource
from alerts.windows import Kind
from service.evaluation import BlockEvaluation, evaluate_blocks, find_neighbours
from service.store.blocks import Block


@dataclass(frozen=True)
class Opening:
    """The first opening of a season and kind, as measured and as borrowed.

    range : the days between which it lies as borrowed; None where it is not borrowed at all
    """

    season: int
    kind: Kind
    measured_on: date
    borrowed_on: date | None
    range: DateRange | None

    @property
    def is_within(self) -> bool:
        """Whether the measured day lies within the range of the borrowed one."""
        if self.range is None:
            return False
        latest = self.range.latest or date.max
        return self.range.earliest <= self.measured_on <= latest


@dataclass(frozen=True)
class LeftOut:
    """A block left out: over the last year with both, borrowed less measured.

    neighbours : whom its latest day was borrowed from; None: nobody
    days : how many were compared
    bias_c, off_c : mean and root mean square of what it was off by; NaN without days [degC]
    error_c : the standard error of the days that it has measured, root mean square; days of too
        large an error are not borrowed [degC]
    """

    block: Block
    neighbours: NeighbourSource | None
    days: int
    bias_c: float
    off_c: float
    error_c: float
    openings: list[Opening]


def leave_out(
    connection: Connection,
    blocks: Sequence[Block],
    as_of: Sequence[date],
    sensor_accuracy_c: float,
) -> list[LeftOut]:
    """Return how far off borrowing is for each of some blocks with probes."""
    bare = [replace(block, stretches=(), beside=(), thermometers=()) for block in blocks]
    both = evaluate_blocks(connection, [*blocks, *bare], [*as_of, *as_of], None, sensor_accuracy_c)
    return [
        _compare(measured, borrowed)
        for measured, borrowed in zip(both[: len(blocks)], both[len(blocks) :], strict=True)
    ]


def _compare(measured: BlockEvaluation, borrowed: BlockEvaluation) -> LeftOut:
    last = slice(-LOOK_BACK_DAYS, None)
    own = ~measured.root_zone.borrowed[last] & ~np.isnan(measured.root_zone.root_zone_c[last])
    error_c = borrowed.borrowed.error_c[last] if borrowed.borrowed else np.full(own.size, np.nan)
    off_c = borrowed.root_zone.root_zone_c[last] - measured.root_zone.root_zone_c[last]
    compared = own & ~np.isnan(off_c)
    known = borrowed.root_zone.day[~np.isnan(borrowed.root_zone.root_zone_c)]
    return LeftOut(
        block=measured.block,
        neighbours=find_neighbours(borrowed, known[-1].item()) if known.size else None,
        days=int(compared.sum()),
        bias_c=float(off_c[compared].mean()) if compared.any() else np.nan,
        off_c=_root_mean_square(off_c[compared]),
        error_c=_root_mean_square(error_c[own & ~np.isnan(error_c)]),
        openings=_find_openings(measured, borrowed),
    )


def _root_mean_square(value_c: NDArray[np.float64]) -> float:
    return float(np.sqrt(np.mean(value_c**2))) if value_c.size else np.nan


def _find_openings(measured: BlockEvaluation, borrowed: BlockEvaluation) -> list[Opening]:
    """Return the first openings of which the soil before is known both ways."""
    guessed = {}
    for span, bounds in zip(borrowed.evaluation.spans, borrowed.bounds, strict=True):
        guessed.setdefault((span.season, span.kind), (span, bounds))
    zone = borrowed.root_zone
    there = zone.day[~np.isnan(zone.root_zone_c)]
    openings: dict[tuple[int, Kind], Opening] = {}
    for span in measured.evaluation.spans:
        key = span.season, span.kind
        on = np.datetime64(span.opened_on)
        is_seen = span.not_before == span.opened_on and on in there
        if key in openings or not is_seen or find_neighbours(measured, span.opened_on):
            continue
        other, bounds = guessed.get(key, (None, None))
        openings[key] = Opening(
            *key, span.opened_on, other and other.opened_on, bounds and bounds.opened
        )
    return list(openings.values())
