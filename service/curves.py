"""From the store to the yearly curve of each block: its own, or that of a neighbour."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from alerts.outlook.courses import Lent
from alerts.outlook.curves import Curves, fit_curves, has_own_curve, shift_curves
from alerts.season import season_of, season_start
from service.root_zones import BlockDays, fetch_root_zones
from service.store.block_records import Lender
from service.store.blocks import Block

HISTORY_YEARS = 12
STALE_DAYS = 366
NO_BASIS = "no probe in the root zone or near it"
NO_READINGS = "no readings for a year"
NO_CURVE = "less than a year of readings, and no neighbour or station that has more"


@dataclass(frozen=True)
class KnownBlocks:
    """What is known of blocks of one hemisphere on the evening of a day, and of whom they need.

    curve_row : by row of the blocks that have a yearly curve, which place of `days` it is of
    neighbour : by row of the blocks whose curve is not their own, whose it is
    why_not : by row of the others, why they have none
    """

    blocks: list[Block]
    south: bool
    day: date
    days: PlaceDays
    curve_row: dict[int, int]
    neighbour: dict[int, Lender]
    why_not: dict[int, str]

    def find_curves(self) -> Iterator[tuple[list[int], Curves]]:
        """Yield rows that go through the engine together, with the curves of each.

        They have one rule, and their own curves or borrowed ones.
        """
        together: dict[tuple[str, bool], list[int]] = defaultdict(list)
        for row, of in self.curve_row.items():
            together[self.blocks[row].rule, row == of].append(row)
        for rows in together.values():
            yield rows, self._find_curves(rows, [self.curve_row[row] for row in rows])

    def _find_curves(self, rows: list[int], curve_rows: list[int]) -> Curves:
        """Return curves from the days before the season, or from their neighbours'."""
        days, begins_on = self.days, season_start(season_of(self.day, self.south), self.south)
        before = days.days < np.datetime64(begins_on)
        curves = fit_curves(days.own_c[curve_rows][:, before], days.days[before])
        if rows == curve_rows:
            return curves
        return shift_curves(curves, days.own_c[rows], days.own_c[curve_rows], days.days)


@dataclass(frozen=True)
class PlaceDays:
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


def know_blocks(
    connection: Connection, blocks: list[Block], south: bool, day: date, sensor_accuracy_c: float
) -> KnownBlocks:
    """Return what is known of blocks of one hemisphere, and of those they borrow a curve from."""
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
    return KnownBlocks(blocks, south, day, known, curve_row, neighbour, why_not)


def _fetch_days(
    connection: Connection,
    blocks: list[Block],
    others: Mapping[tuple[bool, str], Block],
    day: date,
    sensor_accuracy_c: float,
) -> PlaceDays:
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
    return PlaceDays(
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
