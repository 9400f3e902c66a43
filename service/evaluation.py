"""From the store to what the rule says of each block: daily means, root zone, windows, state."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from alerts.block_days import ProbeDays, bridge_hand_days, find_block_days
from alerts.bounds import Bounds, evaluate_with_bounds
from alerts.degree_days import HOURS, by_hours
from alerts.notices import HandSource, Source
from alerts.root_zone import find_basis
from alerts.rules import WindowRule
from alerts.season import season_of, season_start
from alerts.states import RECENT_DAYS, State, find_state
from alerts.windows import Evaluation
from probes.clock import last_ended_day
from probes.frames import RootZoneDays
from probes.hand_days import MOST_DAYS_APART, OWN_ERROR_C
from service.daily_means import find_probe_hours
from service.rule_sets import fetch_rules
from service.store.blocks import Block, Stretch
from service.store.daily import fetch_daily_errors, fetch_daily_means
from service.store.loggers import Logger, fetch_probes
from service.store.outlooks import fetch_outlooks
from service.store.readings import fetch_readings

LOOK_BACK_DAYS = 120
"""How far before a day lies what it may rest on: 21 days of loss, the days of the fit, lags."""
CARRIED_BACK_DAYS = 3 * 365
"""The same of a block that is carried: two years of memory, and what a gap at their start takes."""


@dataclass(frozen=True)
class BlockEvaluation:
    """What is known of a block on the evening of `as_of`.

    bounds : of each span
    warmth_c : degree-days of each day of the root zone by its hours, where the rule sums them
    """

    block: Block
    rule: WindowRule
    as_of: date
    root_zone: RootZoneDays
    evaluation: Evaluation
    bounds: list[Bounds]
    warmth_c: NDArray[np.float64] | None
    state: State

    @property
    def by_hand(self) -> HandSource | None:
        """The thermometers it rests on now, with the error of its latest five-day mean."""
        if not self.block.thermometers:
            return None
        on = self.evaluation.standing.mean_on
        return HandSource(self.block.thermometers, on and find_mean_error_c(self, on))

    @property
    def sources(self) -> tuple[Source, ...]:
        """The stations and thermometers it rests on now."""
        return (*self.block.sources, *([self.by_hand] if self.by_hand else []))


def find_mean_error_c(one: BlockEvaluation, day: date) -> float | None:
    """Return the standard error of the five-day mean of a day; errors of days may be alike."""
    return _of_mean(one, one.root_zone.error_c, day)


def is_by_hand(one: BlockEvaluation, day: date) -> bool:
    """Return whether the five-day mean of a day rests on hand readings."""
    return bool(_of_mean(one, one.root_zone.by_hand.astype(np.float64), day))


def _of_mean(one: BlockEvaluation, of_days: NDArray[np.float64], day: date) -> float | None:
    """Return the mean of something over the days with a value that a five-day mean rests on."""
    zone = one.root_zone
    last = int((np.datetime64(day) - zone.day[0]).astype(int))
    part = slice(max(0, last - one.rule.mean_days + 1), last + 1)
    measured = ~np.isnan(zone.root_zone_c[part])
    return float(of_days[part][measured].mean()) if measured.any() else None


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
    warmth_c = fetch_warmth(connection, blocks, zones, rule) if rule.degree_days else None
    evaluations = evaluate_with_bounds(
        np.array([zone.root_zone_c for zone in zones]),
        np.array([zone.error_c for zone in zones]),
        zones[0].day,
        np.array([block.south for block in blocks]),
        rule,
        as_of,
        warmth_c,
    )
    outlooks = fetch_outlooks(connection, [block.id for block in blocks], as_of)
    soon = {block_id: one.outlook.opens_soon for block_id, one in outlooks.items()}
    return [
        BlockEvaluation(
            block=block,
            rule=rule,
            as_of=as_of,
            root_zone=zone,
            evaluation=evaluation,
            bounds=bounds,
            warmth_c=None if warmth_c is None else warmth_c[index],
            state=find_state(
                evaluation,
                rule,
                block.south,
                bool(zone.basis_cm),
                as_of,
                soon.get(block.id),
                MOST_DAYS_APART if block.thermometers else RECENT_DAYS,
            ),
        )
        for index, (block, zone, (evaluation, bounds)) in enumerate(
            zip(blocks, zones, evaluations, strict=True)
        )
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
    probe_ids = sorted({one.probe_id for block in blocks for one in block.stretches + block.beside})
    back = CARRIED_BACK_DAYS if any(block.ground for block in blocks) else LOOK_BACK_DAYS
    earlier = timedelta(days=min(back, (start - date.min).days))
    daily = fetch_daily_means(connection, probe_ids, start - earlier, end)
    last = np.datetime64(end, "D")
    first = daily.day.min() if daily.day.size else last
    days = np.arange(first, last + 1)
    mean_c = np.full((len(probe_ids), days.size), np.nan)
    row = np.searchsorted(probe_ids, daily.probe_id)
    column = (daily.day - first).astype(np.int64)
    mean_c[row, column] = np.where(daily.complete, daily.mean_c, np.nan)
    error_c = np.full(mean_c.shape, sensor_accuracy_c)
    hand_ids = sorted({probe_id for block in blocks for probe_id in block.hand_probes})
    error_c[np.searchsorted(probe_ids, hand_ids)] = OWN_ERROR_C
    for probe_id, day, of_day_c in fetch_daily_errors(connection, hand_ids, start - earlier, end):
        place = (np.datetime64(day, "D") - first).astype(int)
        error_c[np.searchsorted(probe_ids, probe_id), place] = of_day_c

    def probe_days(stretches: Sequence[Stretch]) -> ProbeDays:
        ids, depth_cm = _place(stretches, days)
        rows = np.searchsorted(probe_ids, ids)
        by_hand = np.isin(ids, hand_ids)
        found = ProbeDays(mean_c[rows], error_c[rows], depth_cm)
        return bridge_hand_days(found, by_hand) if by_hand.any() else found

    shown = max(0, (np.datetime64(start, "D") - first).astype(int))
    return [
        find_block_days(
            days,
            probe_days(block.stretches),
            probe_days(block.beside),
            block.root_zone_cm,
            block.weights,
            block.ground,
        ).since(shown)
        for block in blocks
    ]


def fetch_warmth(
    connection: Connection,
    blocks: Sequence[Block],
    zones: Sequence[RootZoneDays],
    rule: WindowRule,
) -> NDArray[np.float64]:
    """Return the degree-days of each block's root zone on each day, by its hours.

    blocks x days [degC d]; NaN where an hour of a depth is missing and where the day is estimated,
    since what it was estimated from has hours of another depth.
    """
    lower_c, upper_c = rule.degree_days_lower_c or 0.0, rule.degree_days_upper_c or 0.0
    days = zones[0].day
    probe_ids = sorted({stretch.probe_id for block in blocks for stretch in block.stretches})
    hourly_c = np.full((len(probe_ids), days.size * HOURS), np.nan)
    for logger, probe in fetch_probes(connection, probe_ids):
        readings = fetch_readings(connection, probe.id, *_instants(logger, days))
        hour, mean_c = find_probe_hours(logger, probe, readings)
        place = hour - int(days[0].astype(np.int64)) * HOURS
        within = (place >= 0) & (place < days.size * HOURS)
        hourly_c[probe_ids.index(probe.id), place[within]] = mean_c[within]
    by_hour_c = np.full((len(blocks), days.size * HOURS), np.nan)
    for block, zone, hour_c in zip(blocks, zones, by_hour_c, strict=True):
        ids, depth_cm = _place(block.stretches, days)
        rows_c = hourly_c[np.searchsorted(probe_ids, ids)]
        probes = ProbeDays(rows_c, np.zeros(rows_c.shape), np.repeat(depth_cm, HOURS, axis=1))
        starts = [start * HOURS for start, _ in zone.bases]
        for (_, basis_cm), begin, end in zip(zone.bases, starts, [*starts[1:], None], strict=True):
            basis = find_basis(basis_cm, *block.root_zone_cm, block.weights)
            if basis:
                depths_c = [probes.mean_at_c(z)[begin:end] for z in basis]
                hour_c[begin:end] = np.array(list(basis.values())) @ depths_c
    found_c = by_hours(by_hour_c.reshape(len(blocks), days.size, HOURS), lower_c, upper_c)
    return np.where([zone.estimated for zone in zones], np.nan, found_c)


def _instants(logger: Logger, days: NDArray[np.datetime64]) -> tuple[datetime, datetime]:
    """Return when the first of these days begins at a logger's site, and when the last ends."""
    first, last = days[0].item(), days[-1].item() + timedelta(days=1)
    offset = timedelta(minutes=logger.utc_offset_min)
    begin, end = (datetime.combine(day, time.min, UTC) - offset for day in (first, last))
    return begin, end


def _place(
    stretches: Sequence[Stretch], days: NDArray[np.datetime64]
) -> tuple[list[int], NDArray[np.float64]]:
    """Return the probes of some stretches and the depth of each on each day [cm]."""
    probe_ids = sorted({stretch.probe_id for stretch in stretches})
    depth_cm = np.full((len(probe_ids), days.size), np.nan)
    for stretch in stretches:  # of one probe in order of time: a later one overwrites
        column = int(np.searchsorted(days, np.datetime64(stretch.valid_from, "D")))
        depth_cm[probe_ids.index(stretch.probe_id), column:] = stretch.depth_cm
    return probe_ids, depth_cm
