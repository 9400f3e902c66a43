"""The contracts of the tables that pass between the rooms: one frozen dataclass of arrays each.

All instants are UTC without zone as datetime64[us] (numpy knows no zones; aware datetimes are used
wherever a single instant is handled). All temperatures are degC. Days are datetime64[D], days of
the site's local standard time.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

GOOD, NOT_EVALUATED, SUSPECT, FAIL, MISSING = 1, 2, 3, 4, 9
"""Quality flags of QARTOD [IOOS-QARTOD]."""

HOUR = np.timedelta64(1, "h")


@dataclass(frozen=True)
class Reject:
    """A row or a cell that was not read, with where it stands and why."""

    line: int
    reason: str
    text: str
    readings: int
    """How many readings are lost with it: all of a row's, or one cell's."""


@dataclass(frozen=True)
class LoggerFile:
    """What one logger file holds, rows as they stand in the file.

    channels : the k depth columns, by their header
    line : (n,) int64, the line of each row, the file's first line being 1
    observed_at : (n,) datetime64[us], UTC, the instant or the END of the averaging interval
    soil_temp_c : (n, k) float64, NaN where the cell was missing or rejected; where each depth has
        a row of its own, also in the channels of other depths
    missing : how many cells hold a declared missing code, in rows that were read
    rejects : what was not read
    others : how many rows are of other loggers
    shift : (n,) timedelta64[us], what a correction of the clock has added to the time of each row;
        None: nothing to any
    suspect : (n, k) bool, which readings the network they come from flags suspect; None: none
    """

    channels: tuple[str, ...]
    line: NDArray[np.int64]
    observed_at: NDArray[np.datetime64]
    soil_temp_c: NDArray[np.float64]
    missing: int
    rejects: tuple[Reject, ...]
    others: int = 0
    shift: NDArray[np.timedelta64] | None = None
    suspect: NDArray[np.bool_] | None = None


@dataclass(frozen=True)
class Readings:
    """Readings of one probe, ascending in time, each instant once.

    observed_at : (n,) datetime64[us], UTC
    soil_temp_c : (n,) float64, never NaN
    flag : (n,) int8, QARTOD
    """

    observed_at: NDArray[np.datetime64]
    soil_temp_c: NDArray[np.float64]
    flag: NDArray[np.int8]

    def where(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> Readings:
        """Return some of the readings."""
        return Readings(self.observed_at[which], self.soil_temp_c[which], self.flag[which])


@dataclass(frozen=True)
class DailyMeans:
    """Daily means of one probe, ascending; only days that hold at least one reading.

    day : (n,) datetime64[D], local standard time
    mean_c : (n,) float64, NaN where no reading of the day may be used
    slots_present, slots_in_day : (n,) int16
    longest_gap_h : (n,) int16, longest run of missing slots within the day, in hours
    complete : (n,) bool
    error_c : (n,) float64, standard error of a value that was made from instants, NaN like mean_c;
        None: of a logger, whose day is the mean of its readings
    """

    day: NDArray[np.datetime64]
    mean_c: NDArray[np.float64]
    slots_present: NDArray[np.int16]
    slots_in_day: NDArray[np.int16]
    longest_gap_h: NDArray[np.int16]
    complete: NDArray[np.bool_]
    error_c: NDArray[np.float64] | None = None


@dataclass(frozen=True)
class RootZoneDays:
    """Root-zone temperature of one block, a value for each day from the first to the last.

    day : (n,) datetime64[D], consecutive
    root_zone_c : (n,) float64, NaN where the day has no value
    estimated : (n,) bool, whether a value is not of readings of that day alone
    error_c : (n,) float64, standard error of the value, NaN where there is none; the part of the
        sensors is alike on all days, and no smaller where several were averaged [degC]
    carried : (n,) bool, whether the basis of the day is too shallow and was carried down
    bases : from which position in `day` on it rests on which depths [cm], ascending, no depths
        where the block has no basis; the first one from position 0
    by_hand : (n,) bool, whether a value rests on hand readings
    lent : (k, n) bool, which of the neighbours that may lend to it a value was borrowed from; none
        of them where it is the block's own
    """

    day: NDArray[np.datetime64]
    root_zone_c: NDArray[np.float64]
    estimated: NDArray[np.bool_]
    error_c: NDArray[np.float64]
    carried: NDArray[np.bool_]
    bases: tuple[tuple[int, tuple[float, ...]], ...]
    by_hand: NDArray[np.bool_]
    lent: NDArray[np.bool_]

    def since(self, first: int) -> RootZoneDays:
        """Return the days from a position on."""
        before = sum(start <= first for start, _ in self.bases) - 1
        return RootZoneDays(
            day=self.day[first:],
            root_zone_c=self.root_zone_c[first:],
            estimated=self.estimated[first:],
            error_c=self.error_c[first:],
            carried=self.carried[first:],
            bases=tuple((max(0, start - first), depths) for start, depths in self.bases[before:]),
            by_hand=self.by_hand[first:],
            lent=self.lent[:, first:],
        )

    @property
    def borrowed(self) -> NDArray[np.bool_]:
        """Whether a value was borrowed from neighbours, (n,)."""
        return np.any(self.lent, axis=0)

    @property
    def basis_cm(self) -> tuple[float, ...]:
        """The depths it rests on now."""
        return self.bases[-1][1]

    def is_estimated(self, on: date, days: int) -> bool:
        """Whether some of the last `days` days up to `on` are estimated."""
        end = int(np.searchsorted(self.day, np.datetime64(on, "D"), side="right"))
        return bool(self.estimated[max(0, end - days) : end].any())

    @property
    def is_carried(self) -> bool:
        """Whether its basis of now is carried down to the root zone."""
        return bool(self.carried[-1])
