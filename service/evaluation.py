"""From the store to what the rule says of each block: daily means, root zone, windows, state."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from alerts.bounds import Bounds, evaluate_with_bounds
from alerts.root_zone import find_basis, root_zone_days
from alerts.rules import WindowRule
from alerts.season import season_of, season_start
from alerts.states import State, find_state
from alerts.windows import Evaluation
from probes.clock import last_ended_day
from probes.frames import RootZoneDays
from service.rule_sets import fetch_rules
from service.store.blocks import Block
from service.store.daily import fetch_daily_means

DAY = timedelta(days=1)


@dataclass(frozen=True)
class BlockEvaluation:
    """What is known of a block on the evening of `as_of`; `bounds` are those of each span."""

    block: Block
    rule: WindowRule
    as_of: date
    root_zone: RootZoneDays
    evaluation: Evaluation
    bounds: list[Bounds]
    state: State


def as_of_day(block: Block, now: datetime) -> date:
    """Return the last day that has ended at the block's site."""
    return last_ended_day(now, block.utc_offset_min)


def evaluate_blocks(
    connection: Connection,
    blocks: Sequence[Block],
    as_of: Sequence[date],
    seasons: int | None,
    sensor_accuracy_c: float,
) -> list[BlockEvaluation]:
    """Return what the rule says of each block as of its own day.

    `seasons` is how many seasons to look back upon, the one of `as_of` among them; None: all.
    `sensor_accuracy_c` is the standard error of a measured day.
    """
    rules = fetch_rules(connection)
    groups: dict[tuple[str, date], list[int]] = defaultdict(list)
    for index, (block, day) in enumerate(zip(blocks, as_of, strict=True)):
        groups[block.rule, day].append(index)
    found: dict[int, BlockEvaluation] = {}
    for (rule_name, day), members in groups.items():
        of_group = [blocks[index] for index in members]
        evaluations = _evaluate_group(
            connection, of_group, rules[rule_name], day, seasons, sensor_accuracy_c
        )
        found.update(zip(members, evaluations, strict=True))
    return [found[index] for index in range(len(blocks))]


def _evaluate_group(
    connection: Connection,
    blocks: list[Block],
    rule: WindowRule,
    as_of: date,
    seasons: int | None,
    sensor_accuracy_c: float,
) -> list[BlockEvaluation]:
    start = date.min
    if seasons is not None:
        first = min(season_of(as_of, block.south) for block in blocks) - seasons + 1
        before = timedelta(days=rule.mean_days - 1)
        start = min(season_start(first, block.south) for block in blocks) - before
    zones = fetch_root_zones(connection, blocks, start, as_of, sensor_accuracy_c)
    evaluations = evaluate_with_bounds(
        np.array([zone.root_zone_c for zone in zones]),
        np.array([zone.error_c for zone in zones]),
        zones[0].day,
        np.array([block.south for block in blocks]),
        rule,
        as_of,
    )
    return [
        BlockEvaluation(
            block=block,
            rule=rule,
            as_of=as_of,
            root_zone=zone,
            evaluation=evaluation,
            bounds=bounds,
            state=find_state(evaluation, rule, block.south, bool(zone.basis_cm), as_of),
        )
        for block, zone, (evaluation, bounds) in zip(blocks, zones, evaluations, strict=True)
    ]


def fetch_root_zones(
    connection: Connection,
    blocks: Sequence[Block],
    start: date,
    end: date,
    sensor_accuracy_c: float,
) -> list[RootZoneDays]:
    """Return the root-zone days of blocks, all over the same days: from the first day that holds
    a reading, or `start`, to `end`."""
    probe_ids = sorted({stretch.probe_id for block in blocks for stretch in block.stretches})
    daily = fetch_daily_means(connection, probe_ids, start, end)
    last = np.datetime64(end, "D")
    first = daily.day.min() if daily.day.size else last
    days = np.arange(first, last + 1)
    mean_c = np.full((len(probe_ids), days.size), np.nan)
    row = np.searchsorted(probe_ids, daily.probe_id)
    column = (daily.day - first).astype(np.int64)
    mean_c[row, column] = np.where(daily.complete, daily.mean_c, np.nan)
    row_of = {probe_id: index for index, probe_id in enumerate(probe_ids)}
    return [_root_zone(block, days, mean_c, row_of, sensor_accuracy_c) for block in blocks]


def _root_zone(
    block: Block,
    days: NDArray[np.datetime64],
    mean_c: NDArray[np.float64],
    row_of: dict[int, int],
    sensor_accuracy_c: float,
) -> RootZoneDays:
    """Return a block's root-zone days; where a probe moved, the basis changes with that day."""
    probe_ids = sorted({stretch.probe_id for stretch in block.stretches})
    rows = [row_of[probe_id] for probe_id in probe_ids]
    depth_cm = np.full((len(rows), days.size), np.nan)
    starts = {0}
    for stretch in block.stretches:  # of one probe in order of time: a later one overwrites
        column = int(np.searchsorted(days, np.datetime64(stretch.valid_from, "D")))
        depth_cm[probe_ids.index(stretch.probe_id), column:] = stretch.depth_cm
        starts.add(column)
    root_zone_c = np.full(days.size, np.nan)
    bases: list[tuple[int, tuple[float, ...]]] = []
    edges = [*sorted(column for column in starts if column < days.size), days.size]
    for begin, end in pairwise(edges):
        depths = {float(z) for z in depth_cm[:, begin] if not np.isnan(z)}
        basis = find_basis(sorted(depths), *block.root_zone_cm, block.weights)
        part = slice(begin, end)
        root_zone_c[part] = root_zone_days(mean_c[rows, part], depth_cm[:, part], basis)
        bases.append((begin, tuple(basis)))
    return RootZoneDays(
        day=days,
        root_zone_c=root_zone_c,
        estimated=np.zeros(days.size, bool),
        error_c=np.where(np.isnan(root_zone_c), np.nan, sensor_accuracy_c),
        bases=tuple(bases),
    )
