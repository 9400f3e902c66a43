"""From the store to the outlook of each block: by its own yearly curve, or a neighbour's."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import compress

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from alerts.expectations import Expectation
from alerts.notices import Neighbour
from alerts.outlook.curves import Curves, fit_curves, has_own_curve, shift_curves
from alerts.outlook.dates import Lent, Outlook, find_outlooks
from alerts.outlook.members import member_rng
from alerts.rules import WindowRule
from alerts.season import season_of, season_start
from service.forecasts import find_air
from service.lending import Lender, describe_neighbour
from service.root_zones import BlockDays, fetch_root_zones
from service.rule_sets import fetch_rules
from service.store.blocks import Block
from service.store.forecasts import fetch_air
from service.store.outlooks import KeptOutlook, fetch_outlooks, store_outlooks
from service.store.tables import block as block_table
from service.store.tables import logger, site

HISTORY_YEARS = 12
STALE_DAYS = 366
NO_BASIS = "no probe in the root zone or near it"
NO_READINGS = "no readings for a year"
NO_CURVE = "less than a year of readings, and no neighbour or station that has more"


@dataclass(frozen=True)
class BlockOutlook:
    """The outlook of a block; `outlook` is None where there is none, and `why_not` says why.

    neighbour : whose yearly curve it rests on, a block's or a station's; None: its own
    borrowed : whom the days were borrowed from that it rests on and that its probes do not have
    air_issued_on : of the air forecast that it heeds; None: none
    """

    block: Block
    issued_on: date
    outlook: Outlook | None
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


@dataclass(frozen=True)
class _Days:
    """Root-zone days of the places of one hemisphere, places x days [degC].

    places : the blocks, then those that only lend a curve
    own_c : measured in the place, or where it has no probes what it has borrowed
    of_places : all there is to each
    against : why a place cannot have an outlook by any curve
    has_own : whether it has a yearly curve of its own
    """

    places: list[tuple[bool, str]]
    days: NDArray[np.datetime64]
    own_c: NDArray[np.float64]
    of_places: list[BlockDays]
    against: list[str | None]
    has_own: list[bool]

    def find_curve(self, block: Block) -> tuple[int, Lender] | None:
        """Return the most alike of a block's neighbours with a yearly curve of its own."""
        row_of = {place: row for row, place in enumerate(self.places)}
        for lender in block.neighbours:
            row = row_of.get((lender.is_station, lender.place.id))
            if row is not None and self.has_own[row]:
                return row, lender
        return None

    def find_latest_lent(self, row: int) -> tuple[NDArray[np.bool_], float] | None:
        """Return who lent the latest day that a place has, and its error [degC]; None: its own."""
        one, known = self.of_places[row], np.flatnonzero(~np.isnan(self.own_c[row]))
        last = int(known[-1]) if known.size else -1
        if one.borrowed and one.is_late:
            later = np.flatnonzero(~np.isnan(one.borrowed.temp_c[last + 1 :]))
            if later.size:
                on = last + 1 + int(later[-1])
                return one.borrowed.lent[:, on], float(one.borrowed.error_c[on])
        elif last >= 0 and one.zone.borrowed[last]:
            return one.zone.lent[:, last], float(one.zone.error_c[last])
        return None

    def find_lent(self, rows: Sequence[int]) -> Lent:
        """Return what neighbours say of the days after the last ones of some blocks."""
        lent_c = np.full((len(rows), self.days.size), np.nan)
        error_c = np.zeros(len(rows))
        for place, row in enumerate(rows):
            one, latest = self.of_places[row], self.find_latest_lent(row)
            if latest:
                error_c[place] = latest[1]
            if latest and one.borrowed and one.is_late:
                after = int(np.flatnonzero(~np.isnan(self.own_c[row]))[-1]) + 1
                lent_c[place, after:] = one.borrowed.temp_c[after:]
        return Lent(lent_c, error_c)


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


def _of_group(
    connection: Connection,
    blocks: list[Block],
    rules: Mapping[str, WindowRule],
    south: bool,
    day: date,
    sensor_accuracy_c: float,
) -> list[BlockOutlook]:
    known = _fetch_days(connection, blocks, {}, day, sensor_accuracy_c)
    needy = [
        block
        for block, own, no in zip(blocks, known.has_own, known.against, strict=True)
        if not own and not no
    ]
    if needy:
        others = {
            (lender.is_station, lender.place.id): lender.place
            for block in needy
            for lender in block.neighbours
        }
        known = _fetch_days(connection, blocks, others, day, sensor_accuracy_c)
    curve_row: dict[int, int] = {}
    neighbour: dict[int, Lender] = {}
    why_not: dict[int, str] = {}
    for row, block in enumerate(blocks):
        against = known.against[row]
        if against:
            why_not[row] = against
        elif known.has_own[row]:
            curve_row[row] = row
        elif found := known.find_curve(block):
            curve_row[row], neighbour[row] = found
        else:
            why_not[row] = NO_CURVE
    forecasts = fetch_air(connection, {block.site_id for block in blocks}, day)
    air = {
        row: found
        for row in curve_row
        if (forecast := forecasts.get(blocks[row].site_id))
        and (found := find_air(forecast, known.own_c[row], known.days))
    }
    outlooks: dict[int, Outlook] = {}
    for rows in _alike(blocks, curve_row):
        curves = _find_curves(known, rows, [curve_row[row] for row in rows], day, south)
        rngs = [member_rng(blocks[row].id, day) for row in rows]
        rule = rules[blocks[rows[0]].rule]
        found = find_outlooks(
            known.own_c[rows],
            known.days,
            curves,
            south,
            rule,
            day,
            rngs,
            lent=known.find_lent(rows),
            air=[air[row][0] if row in air else None for row in rows],
        )
        outlooks |= dict(zip(rows, found, strict=True))
    return [
        BlockOutlook(
            block,
            day,
            outlooks.get(row),
            neighbour.get(row),
            _describe_lent(block, known.find_latest_lent(row)),
            why_not.get(row),
            air[row][1] if row in air else None,
        )
        for row, block in enumerate(blocks)
    ]


def _describe_lent(
    block: Block, latest: tuple[NDArray[np.bool_], float] | None
) -> tuple[Neighbour, ...]:
    lent = latest[0].tolist() if latest else []
    return tuple(map(describe_neighbour, compress(block.lenders, lent)))


def _alike(blocks: list[Block], curve_row: dict[int, int]) -> list[list[int]]:
    """Return the rows that go through the engine together: one rule, own curves or borrowed."""
    together: dict[tuple[str, bool], list[int]] = defaultdict(list)
    for row, of in curve_row.items():
        together[blocks[row].rule, row == of].append(row)
    return list(together.values())


def _fetch_days(
    connection: Connection,
    blocks: list[Block],
    others: Mapping[tuple[bool, str], Block],
    day: date,
    sensor_accuracy_c: float,
) -> _Days:
    places = {(False, block.id): block for block in blocks}
    places |= {place: other for place, other in others.items() if place not in places}
    start = day - timedelta(days=366 * HISTORY_YEARS)
    found = fetch_root_zones(
        connection, list(places.values()), start, day, sensor_accuracy_c, late_too=True
    )
    own_c = np.array(
        [
            np.where(one.zone.borrowed & place.is_probed, np.nan, one.zone.root_zone_c)
            for place, one in zip(places.values(), found, strict=True)
        ]
    )
    days = found[0].zone.day
    return _Days(
        list(places),
        days,
        own_c,
        found,
        [
            _find_reason_against(one, of_place_c)
            for one, of_place_c in zip(found, own_c, strict=True)
        ],
        [has_own_curve(of_place_c, days) for of_place_c in own_c],
    )


def _find_reason_against(one: BlockDays, own_c: NDArray[np.float64]) -> str | None:
    zone = one.zone
    known = zone.day[~np.isnan(own_c)]
    if not zone.basis_cm and not known.size:
        return NO_BASIS
    if not known.size or zone.day[-1] - known[-1] > np.timedelta64(STALE_DAYS, "D"):
        return NO_READINGS
    return None


def _find_curves(
    known: _Days, rows: list[int], curve_rows: list[int], day: date, south: bool
) -> Curves:
    """Return the curves of blocks from the days before the season, or from their neighbours'."""
    before = known.days < np.datetime64(season_start(season_of(day, south), south))
    curves = fit_curves(known.own_c[curve_rows][:, before], known.days[before])
    if rows == curve_rows:
        return curves
    return shift_curves(curves, known.own_c[rows], known.own_c[curve_rows], known.days)
