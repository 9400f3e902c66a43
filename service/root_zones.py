"""From the store to the root-zone days of blocks: measured, or borrowed from neighbours."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import isnan

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from alerts.block_days import ProbeDays, bridge_hand_days, find_block_days
from alerts.neighbours import (
    LEARNED_DAYS,
    LOOK_BACK_DAYS,
    Borrowed,
    borrow_days,
    fill_with_borrowed,
)
from alerts.season import season_of, season_start
from alerts.states import RECENT_DAYS
from probes.frames import RootZoneDays
from probes.hand_days import OWN_ERROR_C
from service.lending import describe_lenders
from service.store.block_records import Lender
from service.store.blocks import Block, Stretch
from service.store.daily import fetch_daily_errors, fetch_first_days
from service.store.daily_packs import CompleteDays, fetch_complete_days

OWN_BACK_DAYS = 120
"""How far before a day lies what it may rest on: 21 days of loss, the days of the fit, lags."""
CARRIED_BACK_DAYS = 3 * 365
"""The same of a block that is carried: two years of memory, and what a gap at their start takes."""
SEASONS_KEPT = 1
"""A block that gets probes keeps what it had borrowed, for so many seasons back: they are told."""

Days = NDArray[np.datetime64]


@dataclass(frozen=True)
class BlockDays:
    """The root-zone days of a block, and what its neighbours lend.

    borrowed : None where they lend nothing
    is_late : whether its probes have no day near the last one, so that what is lent is a nowcast
    """

    zone: RootZoneDays
    borrowed: Borrowed | None
    is_late: bool = False


def fetch_root_zones(
    connection: Connection,
    blocks: Sequence[Block],
    start: date,
    end: date,
    sensor_accuracy_c: float,
    *,
    late_too: bool = False,
) -> list[BlockDays]:
    """Return the root-zone days of blocks, all over the same days: from the first day that holds
    a reading, or `start`, to `end`.

    Late too: neighbours lend also to a block with probes whose readings are late, beside its days.
    """
    first_days = fetch_first_days(connection, _find_own_probes(blocks))
    spans = [_find_unprobed(block, first_days) for block in blocks]
    borrows = [
        any(begin <= end and start <= until for begin, until in of_block) and bool(block.lenders)
        for block, of_block in zip(blocks, spans, strict=True)
    ]
    groups: dict[int, list[int]] = defaultdict(list)
    for row, block in enumerate(blocks):
        back_days = _find_back_days(block, borrows[row])
        groups[min(back_days, (start - date.min).days)].append(row)
    fetched = {
        back_days: _fetch(
            connection,
            [one for row in rows for one in _involved(blocks[row], borrows[row] or late_too)],
            start - timedelta(days=back_days),
            end,
            sensor_accuracy_c,
        )
        for back_days, rows in groups.items()
    }
    last = np.datetime64(end, "D")
    starts = (one.complete.day for one in fetched.values())
    first = min((days[0] for days in starts if days.size), default=last)
    first_shown = max(first, np.datetime64(start, "D"))
    found: dict[int, BlockDays] = {}
    for back_days, rows in groups.items():
        zones = _Zones(fetched[back_days], first_shown, last)
        for row in rows:
            unprobed = spans[row] if borrows[row] else []
            found[row] = zones.find_days(blocks[row], unprobed, first_shown, late_too)
    return [found[row] for row in range(len(blocks))]


def fetch_depths(
    connection: Connection, block: Block, start: date, end: date
) -> dict[float, NDArray[np.float64]]:
    """Return the daily means of a block's probes by depth [cm], each over the days from `start` to
    `end`, NaN where there is none [degC]; a depth without any is left out."""
    fetched = _fetch(connection, [block], start, end, 0.0)
    zones = _Zones(fetched, np.datetime64(start, "D"), np.datetime64(end, "D"))
    probes = zones.place(block.stretches)
    means = {depth_cm: probes.mean_at_c(depth_cm) for depth_cm in probes.depths_cm}
    return {depth_cm: mean_c for depth_cm, mean_c in means.items() if not np.isnan(mean_c).all()}


@dataclass(frozen=True)
class _Fetched:
    """The complete days of some probes, and errors of those read by hand."""

    probe_ids: list[int]
    hand_ids: list[int]
    complete: CompleteDays
    errors: list[tuple[int, date, float]]
    accuracy_c: float


def _fetch(
    connection: Connection, places: Iterable[Block], start: date, end: date, accuracy_c: float
) -> _Fetched:
    probe_ids: set[int] = set()
    hand_ids: set[int] = set()
    for place in places:
        probe_ids |= {stretch.probe_id for stretch in place.stretches + place.beside}
        hand_ids |= place.hand_probes
    complete = fetch_complete_days(connection, sorted(probe_ids), start, end)
    errors = fetch_daily_errors(connection, sorted(hand_ids), start, end)
    return _Fetched(sorted(probe_ids), sorted(hand_ids), complete, errors, accuracy_c)


class _Zones:
    """The root zones of places whose probes were fetched together; a lender's is found once."""

    def __init__(self, fetched: _Fetched, first_shown: np.datetime64, last: np.datetime64) -> None:
        days = fetched.complete.day
        first = min(days[0], first_shown) if days.size else first_shown
        self._probe_ids = np.array(fetched.probe_ids, np.int64)
        self._hand_ids = fetched.hand_ids
        self._days = np.arange(first, last + 1)
        self._mean_c = np.full((self._probe_ids.size, self._days.size), np.nan)
        if days.size:
            self._mean_c[:, -days.size :] = fetched.complete.mean_c
        self._error_c = np.full(self._mean_c.shape, fetched.accuracy_c)
        self._error_c[np.searchsorted(self._probe_ids, self._hand_ids)] = OWN_ERROR_C
        for probe_id, day, of_day_c in fetched.errors:
            place = (np.datetime64(day, "D") - first).astype(int)
            self._error_c[np.searchsorted(self._probe_ids, probe_id), place] = of_day_c
        self._lent: dict[Block, RootZoneDays] = {}

    def find_days(
        self,
        block: Block,
        unprobed: Sequence[tuple[date, date]],
        first_shown: np.datetime64,
        late_too: bool,
    ) -> BlockDays:
        """Return the days of a block; those within its `unprobed` spans may be borrowed."""
        zone = self._find(block)
        shown = int((first_shown - self._days[0]).astype(int))
        is_late = late_too and block.is_probed and _is_late(zone) and bool(block.lenders)
        if not unprobed and not is_late:
            return BlockDays(zone.since(shown), None)
        lent = [self._find_lent(block, lender) for lender in block.lenders]
        borrowed = borrow_days(
            self._days,
            np.array([one.root_zone_c for one in lent]),
            np.array([one.error_c for one in lent]),
            describe_lenders(block.lenders),
            np.where(zone.estimated, np.nan, zone.root_zone_c),
        )
        wanted = np.zeros(self._days.size, bool)
        for begin, until in unprobed:
            wanted |= (self._days >= np.datetime64(begin)) & (self._days <= np.datetime64(until))
        filled = fill_with_borrowed(zone, borrowed, wanted)
        return BlockDays(filled.since(shown), borrowed.since(shown), is_late)

    def _find(self, block: Block) -> RootZoneDays:
        return find_block_days(
            self._days,
            self.place(block.stretches),
            self.place(block.beside),
            block.root_zone_cm,
            block.weights,
            block.ground,
        )

    def _find_lent(self, block: Block, lender: Lender) -> RootZoneDays:
        """Return the days of a neighbour in the root zone of a block."""
        place = replace(lender.place, root_zone_cm=block.root_zone_cm, weights=block.weights)
        if place not in self._lent:
            self._lent[place] = self._find(place)
        return self._lent[place]

    def place(self, stretches: Sequence[Stretch]) -> ProbeDays:
        """Return the days of the probes of some stretches."""
        ids, depth_cm = place_probes(stretches, self._days)
        rows = np.searchsorted(self._probe_ids, ids)
        found = ProbeDays(self._mean_c[rows], self._error_c[rows], depth_cm)
        if not self._hand_ids:
            return found
        by_hand = np.isin(ids, self._hand_ids)
        return bridge_hand_days(found, by_hand) if by_hand.any() else found


def _is_late(zone: RootZoneDays) -> bool:
    known = ~np.isnan(zone.root_zone_c)
    return bool(known.any() and not known[-RECENT_DAYS:].any())


def place_probes(stretches: Sequence[Stretch], days: Days) -> tuple[list[int], NDArray[np.float64]]:
    """Return the probes of some stretches and the depth of each on each day [cm]."""
    probe_ids = sorted({stretch.probe_id for stretch in stretches})
    depth_cm = np.full((len(probe_ids), days.size), np.nan)
    for stretch in stretches:  # of one probe in order of time: a later one overwrites
        column = int(np.searchsorted(days, np.datetime64(stretch.valid_from, "D")))
        depth_cm[probe_ids.index(stretch.probe_id), column:] = stretch.depth_cm
    return probe_ids, depth_cm


def _involved(block: Block, borrows: bool) -> list[Block]:
    return [block, *(lender.place for lender in (block.lenders if borrows else ()))]


def _find_back_days(block: Block, borrows: bool) -> int:
    """Return how far before a day lies what it may rest on."""
    carried = any(place.ground for place in _involved(block, borrows))
    back_days = CARRIED_BACK_DAYS if carried else OWN_BACK_DAYS
    if borrows:
        back_days += 2 * LOOK_BACK_DAYS + (LEARNED_DAYS if _depths_by_probe(block) else 0)
    return back_days


def _depths_by_probe(block: Block, *, by_hand: bool = True) -> dict[int, list[Stretch]]:
    """Return the stretches of the probes that a block has ever used."""
    found: dict[int, list[Stretch]] = defaultdict(list)
    for stretch in block.stretches:
        if by_hand or stretch.probe_id not in block.hand_probes:
            found[stretch.probe_id].append(stretch)
    return {
        probe_id: of_probe
        for probe_id, of_probe in found.items()
        if not all(isnan(one.depth_cm) for one in of_probe)
    }


def _find_own_probes(blocks: Iterable[Block]) -> list[int]:
    """Return the probes of loggers that blocks use which may borrow."""
    borrowing = (block for block in blocks if block.borrows)
    return sorted({one for block in borrowing for one in _depths_by_probe(block, by_hand=False)})


def _find_unprobed(block: Block, first_days: Mapping[int, date]) -> list[tuple[date, date]]:
    """Return from which to which day no probe of a logger serves a block, thermometers aside.

    Before the first reading of its probes that goes as far back as what people are told of; without
    any reading such a probe only is waited for.
    """
    used = _depths_by_probe(block, by_hand=False)
    changes = sorted({stretch.valid_from for of_probe in used.values() for stretch in of_probe})
    spans: list[tuple[date, date]] = []
    begin: date | None = date.min
    for day in changes:
        depths_cm = [
            [stretch.depth_cm for stretch in of_probe if stretch.valid_from <= day][-1:]
            for of_probe in used.values()
        ]
        serves = any(depth and not isnan(depth[0]) for depth in depths_cm)
        if serves and begin is not None:
            if begin < day:
                spans.append((begin, day - timedelta(days=1)))
            begin = None
        elif not serves and begin is None:
            begin = day
    if begin is not None:
        spans.append((begin, date.max))
    first = min((first_days[one] for one in used if one in first_days), default=None)
    if first is not None:
        kept_from = season_start(season_of(first, block.south) - SEASONS_KEPT, block.south)
        spans.append((kept_from, first - timedelta(days=1)))
    return spans
