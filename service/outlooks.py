"""From the store to the outlook of each block: by its own yearly curve, or a neighbour's."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from alerts.expectations import Expectation
from alerts.outlook.curves import Curves, fit_curves, has_own_curve, shift_curves
from alerts.outlook.dates import Outlook, find_outlooks
from alerts.outlook.members import member_rng
from alerts.rules import WindowRule
from alerts.season import season_of, season_start
from probes.frames import RootZoneDays
from service.geography import find_distance_km
from service.root_zones import fetch_root_zones
from service.rule_sets import fetch_rules
from service.store.blocks import Block, fetch_blocks
from service.store.outlooks import fetch_outlooks, store_outlooks
from service.store.tables import block as block_table

HISTORY_YEARS = 12
STALE_DAYS = 366
NEIGHBOUR_KM, NEIGHBOUR_M = 50.0, 300.0
"""How far, and how much higher or lower, a neighbour may lie: ours, no source."""
NO_BASIS = "no probe in the root zone or near it"
NO_READINGS = "no readings for a year"
NO_CURVE = "less than a year of readings, and no neighbour that has more"


@dataclass(frozen=True)
class BlockOutlook:
    """The outlook of a block; `outlook` is None where there is none, and `why_not` says why.

    curve_of : the block that the yearly curve is of: itself, or a neighbour
    """

    block: Block
    issued_on: date
    outlook: Outlook | None
    curve_of: Block | None
    why_not: str | None

    @property
    def neighbour(self) -> Block | None:
        """The block that the yearly curve was borrowed from."""
        return self.curve_of if self.curve_of is not self.block else None


@dataclass(frozen=True)
class _Days:
    """Root-zone days of the blocks of one hemisphere, blocks x days [degC].

    against : why a block cannot have an outlook by any curve
    has_own : whether it has a yearly curve of its own
    """

    blocks: list[Block]
    days: NDArray[np.datetime64]
    root_zone_c: NDArray[np.float64]
    against: list[str | None]
    has_own: list[bool]

    def find_neighbour(self, row: int) -> int | None:
        """Return the nearest block that has a yearly curve of its own."""
        near = [
            (apart_km, other)
            for other in np.flatnonzero(self.has_own).tolist()
            if other != row
            and (apart_km := _apart_km(self.blocks[row], self.blocks[other])) <= NEIGHBOUR_KM
        ]
        return min(near)[1] if near else None


def find_block_outlooks(
    connection: Connection, blocks: Sequence[Block], as_of: Sequence[date], sensor_accuracy_c: float
) -> list[BlockOutlook]:
    """Return the outlook of each block on the evening of its own day."""
    rules = fetch_rules(connection)
    groups: dict[tuple[bool, date], list[Block]] = defaultdict(list)
    for block, day in zip(blocks, as_of, strict=True):
        groups[block.south, day].append(block)
    found = {
        one.block.id: one
        for (south, day), of_group in groups.items()
        for one in _of_group(connection, of_group, rules, south, day, sensor_accuracy_c)
    }
    return [found[block.id] for block in blocks]


def keep_outlooks(connection: Connection, outlooks: Sequence[BlockOutlook]) -> None:
    """Keep the outlooks of a round, for the blocks that have one."""
    by_day: dict[date, list[tuple[str, str, Outlook]]] = defaultdict(list)
    for one in outlooks:
        if one.outlook and one.curve_of:
            by_day[one.issued_on].append((one.block.id, one.curve_of.id, one.outlook))
    for issued_on, found in by_day.items():
        store_outlooks(connection, issued_on, found)


def fetch_expected(
    connection: Connection, block_ids: Collection[str], issued_on: date
) -> dict[str, Expectation]:
    """Return what was to come in blocks on the evening of a day, as a round has kept it."""
    kept = fetch_outlooks(connection, block_ids, issued_on)
    rules = fetch_rules(connection)
    columns = block_table.c.id, block_table.c.name, block_table.c.rule
    rows = {row.id: row for row in connection.execute(select(*columns))} if kept else {}
    return {
        block_id: Expectation(
            one.outlook,
            rules[rows[block_id].rule],
            rows[one.curve_of].name if one.curve_of != block_id else None,
        )
        for block_id, one in kept.items()
    }


def _of_group(
    connection: Connection,
    blocks: list[Block],
    rules: Mapping[str, WindowRule],
    south: bool,
    day: date,
    sensor_accuracy_c: float,
) -> list[BlockOutlook]:
    known = _fetch_days(connection, blocks, day, sensor_accuracy_c)
    if any(not own and not no for own, no in zip(known.has_own, known.against, strict=True)):
        asked = {block.id for block in blocks}
        others = [one for one in fetch_blocks(connection) if one.id not in asked]
        others = [one for one in others if one.south == south]
        known = _fetch_days(connection, [*blocks, *others], day, sensor_accuracy_c)
    curve_row: dict[int, int] = {}
    why_not: dict[int, str] = {}
    for row in range(len(blocks)):
        against = known.against[row]
        of = row if known.has_own[row] else known.find_neighbour(row)
        if against:
            why_not[row] = against
        elif of is None:
            why_not[row] = NO_CURVE
        else:
            curve_row[row] = of
    outlooks: dict[int, Outlook] = {}
    for rows in _alike(blocks, curve_row):
        curves = _find_curves(known, rows, [curve_row[row] for row in rows], day, south)
        rngs = [member_rng(blocks[row].id, day) for row in rows]
        rule = rules[blocks[rows[0]].rule]
        found = find_outlooks(known.root_zone_c[rows], known.days, curves, south, rule, day, rngs)
        outlooks |= dict(zip(rows, found, strict=True))
    return [
        BlockOutlook(
            block,
            day,
            outlooks.get(row),
            known.blocks[curve_row[row]] if row in curve_row else None,
            why_not.get(row),
        )
        for row, block in enumerate(blocks)
    ]


def _alike(blocks: list[Block], curve_row: dict[int, int]) -> list[list[int]]:
    """Return the rows that go through the engine together: one rule, own curves or borrowed."""
    together: dict[tuple[str, bool], list[int]] = defaultdict(list)
    for row, of in curve_row.items():
        together[blocks[row].rule, row == of].append(row)
    return list(together.values())


def _fetch_days(
    connection: Connection, blocks: list[Block], day: date, sensor_accuracy_c: float
) -> _Days:
    start = day - timedelta(days=366 * HISTORY_YEARS)
    found = fetch_root_zones(connection, blocks, start, day, sensor_accuracy_c)
    zones = [one.zone for one in found]
    days = zones[0].day
    root_zone_c = np.array(
        [
            np.where(zone.borrowed & block.is_probed, np.nan, zone.root_zone_c)
            for block, zone in zip(blocks, zones, strict=True)
        ]
    )
    return _Days(
        blocks,
        days,
        root_zone_c,
        [_find_reason_against(zone) for zone in zones],
        [has_own_curve(of_block_c, days) for of_block_c in root_zone_c],
    )


def _find_reason_against(zone: RootZoneDays) -> str | None:
    known = zone.day[~np.isnan(zone.root_zone_c)]
    if not zone.basis_cm and not zone.borrowed.any():
        return NO_BASIS
    if not known.size or zone.day[-1] - known[-1] > np.timedelta64(STALE_DAYS, "D"):
        return NO_READINGS
    return None


def _find_curves(
    known: _Days, rows: list[int], curve_rows: list[int], day: date, south: bool
) -> Curves:
    """Return the curves of blocks from the days before the season, or from their neighbours'."""
    before = known.days < np.datetime64(season_start(season_of(day, south), south))
    curves = fit_curves(known.root_zone_c[curve_rows][:, before], known.days[before])
    if rows == curve_rows:
        return curves
    own_c, of_neighbours_c = known.root_zone_c[rows], known.root_zone_c[curve_rows]
    return shift_curves(curves, own_c, of_neighbours_c, known.days)


def _apart_km(one: Block, other: Block) -> float:
    """Return how far blocks lie from each other; infinite where one lies much higher."""
    heights_m = [at_m for at_m in (one.elevation_m, other.elevation_m) if at_m is not None]
    if len(heights_m) == 2 and max(heights_m) - min(heights_m) > NEIGHBOUR_M:
        return float("inf")
    return find_distance_km(one.latitude, one.longitude, other.latitude, other.longitude)
