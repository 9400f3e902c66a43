"""What there is to tell about a block, and the facts that its text needs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from alerts.bounds import DateRange
from alerts.windows import Kind, Reason

What = Literal[
    "opened",
    "opened again",
    "closed",
    "corrected",
    "probably open",
    "probably closed",
    "nowcast withdrawn",
    "opening soon",
    "closing soon",
    "season summary",
]

NOWCASTS: tuple[What, ...] = ("probably open", "probably closed")
"""What is told without readings; `alerts.nowcasts` says when."""


ASIDE: tuple[What, ...] = ("opening soon", "closing soon", "season summary")
"""What says nothing new of when a window was open; `alerts.ahead` says when."""


@dataclass(frozen=True)
class Summary:
    """How a season was.

    spans : kind, first day and first day after it of each stretch that was open, in order of time
    highest_c, highest_on : its highest trailing mean [degC]
    """

    spans: tuple[tuple[Kind, date, date], ...]
    highest_c: float
    highest_on: date

    @property
    def years(self) -> str:
        """The years in which it was open: "2025", or "2025-26"."""
        first, last = self.spans[0][1].year, self.spans[-1][2].year
        return f"{first}" if first == last else f"{first}-{last % 100:02d}"


@dataclass(frozen=True)
class Nowcast:
    """What a window has probably done since the last readings.

    issued_on : the last day that had ended when it was made
    since : about when it opened or closed
    chance : that it is so on `issued_on`
    last_day : the last one with a root-zone value; None: the season has none
    """

    issued_on: date
    since: date
    chance: float
    last_day: date | None


@dataclass(frozen=True)
class StationSource:
    """A station elsewhere that a block's temperatures come from.

    distance_km : from the block to the station
    higher_m : how much higher than the block's site it lies, negative where lower; None: not known
    """

    name: str
    distance_km: float
    higher_m: float | None


@dataclass(frozen=True)
class HandSource:
    """Soil thermometers that are read by hand, among what a block's temperatures come from.

    names : of the thermometers
    error_c : standard error of the five-day mean that rests on them; None: not known [degC]
    """

    names: tuple[str, ...]
    error_c: float | None


@dataclass(frozen=True)
class Neighbour:
    """A block with probes, or a station, that a block without any borrows from.

    higher_m : how much higher it lies than the block's site, negative where lower; None: not known
    """

    name: str
    distance_km: float
    higher_m: float | None
    is_station: bool


@dataclass(frozen=True)
class NeighbourSource:
    """The neighbours that a block's temperatures are borrowed from.

    error_c : standard error of the five-day mean that rests on them; None: not known [degC]
    """

    neighbours: tuple[Neighbour, ...]
    error_c: float | None


Source = StationSource | HandSource | NeighbourSource


@dataclass(frozen=True)
class Notice:
    """One thing to tell about one block.

    season, kind : the window it is about
    opened_on, not_before, closed_on, reason : as in alerts.windows.Span; for "corrected" what holds
        now (all None where no window is left)
    told_opened_on, told_closed_on : for "corrected", what had been told before; where readings come
        after a nowcast, what that had said
    nowcast : for what is told without readings
    summary : for "season summary"
    ends_by : the first day on which an open spring window is over at the latest
    mean_c, mean_on : the trailing mean of the root zone and the day it was reached [degC]
    limit_c : the limit the mean is read against: the one that closed the window; while it is open,
        the one that opens it in spring or ends it in fall [degC]
    root_zone_cm : top and bottom of the block's root zone
    basis_cm : the depths its temperature rests on
    sources : the stations and thermometers among what measures it, and whom it borrows from
    mean_days, fall_follows : of the block's rule set: how many days the mean has, and whether fall
        dig season is wanted
    closed_not_before : as in alerts.windows.Span
    opened_range, closed_range : as in alerts.bounds.Bounds; for "opening soon" when it is likely
    carried : whether the temperature is carried down from its basis, which is too shallow
    estimated : whether otherwise days behind its date were not measured in full
    not_known : for "corrected", whether too few readings are left to tell how things stand now
    revision : how many notices of its window were made before it
    """

    block_id: str
    block_name: str
    site_name: str
    season: int
    kind: Kind
    what: What
    opened_on: date | None
    not_before: date | None
    closed_on: date | None
    reason: Reason | None
    told_opened_on: date | None
    told_closed_on: date | None
    ends_by: date | None
    mean_c: float | None
    mean_on: date | None
    limit_c: float | None
    root_zone_cm: tuple[float, float]
    basis_cm: tuple[float, ...]
    sources: tuple[Source, ...] = ()
    mean_days: int = 5
    fall_follows: bool = True
    closed_not_before: date | None = None
    opened_range: DateRange | None = None
    closed_range: DateRange | None = None
    carried: bool = False
    estimated: bool = False
    not_known: bool = False
    revision: int = 0
    summary: Summary | None = None
    nowcast: Nowcast | None = None

    @property
    def is_measured(self) -> bool:
        """Whether probes have measured all that its dates rest on."""
        return not (self.carried or self.estimated or self.by_hand or self.borrowed)

    @property
    def stations(self) -> tuple[StationSource, ...]:
        """The stations among the sources."""
        return tuple(one for one in self.sources if isinstance(one, StationSource))

    @property
    def by_hand(self) -> HandSource | None:
        """The thermometers among the sources."""
        return next((one for one in self.sources if isinstance(one, HandSource)), None)

    @property
    def borrowed(self) -> NeighbourSource | None:
        """The neighbours among the sources."""
        return next((one for one in self.sources if isinstance(one, NeighbourSource)), None)
