"""From the store to the outlook of each block: by its own yearly curve, or a neighbour's."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import compress

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from alerts.expectations import Expectation
from alerts.notices import Neighbour
from alerts.outlook.air import Air
from alerts.outlook.dates import Outlook, find_outlooks
from alerts.outlook.fan import Fan, find_fans
from alerts.outlook.members import member_rng
from alerts.rules import WindowRule
from service.curves import KnownBlocks, know_blocks
from service.forecasts import find_air
from service.lending import describe_neighbour
from service.rule_sets import fetch_rules
from service.showing import basis_text
from service.store.block_records import Lender
from service.store.blocks import Block
from service.store.forecasts import fetch_air
from service.store.outlooks import KeptOutlook, fetch_outlooks, store_outlooks
from service.store.tables import block as block_table
from service.store.tables import logger, site


@dataclass(frozen=True)
class BlockOutlook:
    """The outlook of a block; `outlook` is None where there is none, and `why_not` says why.

    basis : the depths that the block rests on, in words
    neighbour : whose yearly curve it rests on, a block's or a station's; None: its own
    borrowed : whom the days were borrowed from that it rests on and that its probes do not have
    air_issued_on : of the air forecast that it heeds; None: none
    """

    block: Block
    issued_on: date
    outlook: Outlook | None
    basis: str
    neighbour: Lender | None
    borrowed: tuple[Neighbour, ...]
    why_not: str | None
    air_issued_on: date | None = None

    @property
    def curve_of(self) -> str | None:
        """The id of the block or station that the yearly curve is of."""
        if self.outlook is None:
            return None
        return self.neighbour.place.id if self.neighbour else self.block.id


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
    by_day: dict[date, dict[str, KeptOutlook]] = defaultdict(dict)
    for one in outlooks:
        if one.outlook and one.curve_of:
            is_station = one.neighbour is not None and one.neighbour.is_station
            kept = KeptOutlook(
                one.outlook, one.curve_of, is_station, one.borrowed, one.air_issued_on
            )
            by_day[one.issued_on][one.block.id] = kept
    for issued_on, found in by_day.items():
        store_outlooks(connection, issued_on, found)


def fetch_expected(
    connection: Connection, block_ids: Collection[str], issued_on: date
) -> dict[str, Expectation]:
    """Return what was to come in blocks on the evening of a day, as a round has kept it."""
    kept = fetch_outlooks(connection, block_ids, issued_on)
    if not kept:
        return {}
    rules = fetch_rules(connection)
    columns = block_table.c.id, block_table.c.name, block_table.c.rule
    rows = {row.id: row for row in connection.execute(select(*columns))}
    stations = select(logger.c.id, site.c.name).join(site).where(logger.c.kind == "station")
    station_names = {row.id: row.name for row in connection.execute(stations)}

    def name_curve(block_id: str, one: KeptOutlook) -> str | None:
        if one.curve_is_station:
            return station_names[one.curve_of]
        return rows[one.curve_of].name if one.curve_of != block_id else None

    return {
        block_id: Expectation(
            one.outlook,
            rules[rows[block_id].rule],
            name_curve(block_id, one),
            one.curve_is_station,
            one.borrowed,
            one.air_issued_on,
        )
        for block_id, one in kept.items()
    }


def fetch_expected_by_day(
    connection: Connection, days: Mapping[str, date]
) -> dict[str, Expectation]:
    """Return what was to come in blocks, each on the evening of its own day."""
    found: dict[str, Expectation] = {}
    for day in set(days.values()):
        ids = [block_id for block_id, of_block in days.items() if of_block == day]
        found |= fetch_expected(connection, ids, day)
    return found


def find_block_fans(
    connection: Connection,
    blocks: Sequence[Block],
    day: date,
    until: date,
    sensor_accuracy_c: float,
) -> dict[str, Fan]:
    """Return, for the blocks that have a curve, the likely course from the evening of a day on."""
    rules = fetch_rules(connection)
    fans: dict[str, Fan] = {}
    for south in {block.south for block in blocks}:
        of_group = [block for block in blocks if block.south == south]
        known = know_blocks(connection, of_group, south, day, sensor_accuracy_c)
        days, air = known.days, _find_air(connection, known)
        for rows, curves in known.find_curves():
            found = find_fans(
                days.own_c[rows],
                days.days,
                curves,
                south,
                rules[of_group[rows[0]].rule],
                day,
                until,
                days.find_lent(rows),
                [air[row][0] if row in air else None for row in rows],
            )
            fans |= {of_group[row].id: fan for row, fan in zip(rows, found, strict=True)}
    return fans


def _of_group(
    connection: Connection,
    blocks: list[Block],
    rules: Mapping[str, WindowRule],
    south: bool,
    day: date,
    sensor_accuracy_c: float,
) -> list[BlockOutlook]:
    known = know_blocks(connection, blocks, south, day, sensor_accuracy_c)
    days, air = known.days, _find_air(connection, known)
    outlooks: dict[int, Outlook] = {}
    for rows, curves in known.find_curves():
        found = find_outlooks(
            days.own_c[rows],
            days.days,
            curves,
            south,
            rules[blocks[rows[0]].rule],
            day,
            [member_rng(blocks[row].id, day) for row in rows],
            lent=days.find_lent(rows),
            air=[air[row][0] if row in air else None for row in rows],
        )
        outlooks |= dict(zip(rows, found, strict=True))
    return [
        BlockOutlook(
            block,
            day,
            outlooks.get(row),
            basis_text(days.of_places[row].zone),
            known.neighbour.get(row),
            _describe_lent(block, days.find_latest_lent(row)),
            known.why_not.get(row),
            air[row][1] if row in air else None,
        )
        for row, block in enumerate(blocks)
    ]


def _find_air(connection: Connection, known: KnownBlocks) -> dict[int, tuple[Air, date]]:
    """Return, by row of the blocks whose site has one, the air to come and when it was forecast."""
    forecasts = fetch_air(connection, {block.site_id for block in known.blocks}, known.day)
    days = known.days
    return {
        row: found
        for row in known.curve_row
        if (forecast := forecasts.get(known.blocks[row].site_id))
        and (found := find_air(forecast, days.own_c[row], days.days))
    }


def _describe_lent(
    block: Block, latest: tuple[NDArray[np.bool_], float] | None
) -> tuple[Neighbour, ...]:
    if latest is None:
        return ()
    return tuple(map(describe_neighbour, compress(block.lenders, latest[0].tolist())))
