"""From the store to what the rule says of each block: daily means, root zone, windows, state."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from alerts.block_days import ProbeDays
from alerts.bounds import Bounds, evaluate_with_bounds
from alerts.degree_days import HOURS, by_hours
from alerts.neighbours import Borrowed
from alerts.notices import HandSource, NeighbourSource, Source
from alerts.outlook.dates import Outlook
from alerts.root_zone import find_basis
from alerts.rules import WindowRule
from alerts.season import season_of, season_start
from alerts.states import RECENT_DAYS, State, find_state
from alerts.windows import Evaluation
from probes.clock import last_ended_day
from probes.frames import RootZoneDays
from probes.hand_days import MOST_DAYS_APART
from service.daily_means import find_probe_hours
from service.lending import describe_neighbour
from service.root_zones import fetch_root_zones, place_probes
from service.rule_sets import fetch_rules
from service.store.blocks import Block
from service.store.loggers import Logger, fetch_probes
from service.store.outlooks import fetch_outlooks
from service.store.readings import fetch_readings


@dataclass(frozen=True)
class BlockEvaluation:
    """What is known of a block on the evening of `as_of`.

    borrowed : what its neighbours lend it; None where it does not borrow
    bounds : of each span
    warmth_c : degree-days of each day of the root zone by its hours, where the rule sums them
    outlook : of `as_of`, where a round has kept one and the readings it rests on are still there
    """

    block: Block
    rule: WindowRule
    as_of: date
    root_zone: RootZoneDays
    borrowed: Borrowed | None
    evaluation: Evaluation
    bounds: list[Bounds]
    warmth_c: NDArray[np.float64] | None
    state: State
    outlook: Outlook | None

    @property
    def sources(self) -> tuple[Source, ...]:
        """The stations, thermometers and neighbours that its latest five-day mean rests on."""
        return find_sources(self, self.evaluation.standing.mean_on)


def find_sources(one: BlockEvaluation, day: date | None) -> tuple[Source, ...]:
    """Return what the five-day mean of a day rests on, besides loggers in the block."""
    neighbours = find_neighbours(one, day) if day else None
    sources: list[Source] = [*one.block.sources]
    if one.block.thermometers and not (neighbours and day and not is_by_hand(one, day)):
        sources.append(HandSource(one.block.thermometers, day and find_mean_error_c(one, day)))
    return (*sources, *([neighbours] if neighbours else []))


def find_neighbours(one: BlockEvaluation, day: date) -> NeighbourSource | None:
    """Return the neighbours that the five-day mean of a day is borrowed from; None: it is not."""
    if not one.root_zone.lent.any():
        return None
    lenders = [
        lender
        for lender, lent in zip(one.block.lenders, one.root_zone.lent, strict=True)
        if _of_mean(one, lent.astype(np.float64), day)
    ]
    if not lenders:
        return None
    neighbours = tuple(map(describe_neighbour, lenders))
    return NeighbourSource(neighbours, find_mean_error_c(one, day))


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


def _still_rests(outlook: Outlook, zone: RootZoneDays) -> bool:
    """Whether the last day of an outlook has not gone with a delivery that was withdrawn."""
    known = zone.day[~np.isnan(zone.root_zone_c)]
    return outlook.last_day is None or bool(np.isin(np.datetime64(outlook.last_day), known))


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
    of_blocks = fetch_root_zones(connection, blocks, start, as_of, sensor_accuracy_c)
    zones = [one.zone for one in of_blocks]
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
    zone_of = {block.id: zone for block, zone in zip(blocks, zones, strict=True)}
    outlook_of = {
        block_id: one.outlook
        for block_id, one in outlooks.items()
        if _still_rests(one.outlook, zone_of[block_id])
    }
    soon = {block_id: one.opens_soon for block_id, one in outlook_of.items()}
    return [
        BlockEvaluation(
            block=block,
            rule=rule,
            as_of=as_of,
            root_zone=days.zone,
            borrowed=days.borrowed,
            evaluation=evaluation,
            bounds=bounds,
            warmth_c=None if warmth_c is None else warmth_c[index],
            state=find_state(
                evaluation,
                rule,
                block.south,
                bool(days.zone.basis_cm) or bool(days.zone.borrowed.any()),
                as_of,
                soon.get(block.id),
                MOST_DAYS_APART if block.thermometers else RECENT_DAYS,
            ),
            outlook=outlook_of.get(block.id),
        )
        for index, (block, days, (evaluation, bounds)) in enumerate(
            zip(blocks, of_blocks, evaluations, strict=True)
        )
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
        readings = fetch_readings(connection, probe.id, *find_instants(logger, days))
        hour, mean_c = find_probe_hours(logger, probe, readings)
        place = hour - int(days[0].astype(np.int64)) * HOURS
        within = (place >= 0) & (place < days.size * HOURS)
        hourly_c[probe_ids.index(probe.id), place[within]] = mean_c[within]
    by_hour_c = np.full((len(blocks), days.size * HOURS), np.nan)
    for block, zone, hour_c in zip(blocks, zones, by_hour_c, strict=True):
        ids, depth_cm = place_probes(block.stretches, days)
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


def find_instants(logger: Logger, days: NDArray[np.datetime64]) -> tuple[datetime, datetime]:
    """Return when the first of these days begins at a logger's site, and when the last ends."""
    first, last = days[0].item(), days[-1].item() + timedelta(days=1)
    offset = timedelta(minutes=logger.utc_offset_min)
    begin, end = (datetime.combine(day, time.min, UTC) - offset for day in (first, last))
    return begin, end
