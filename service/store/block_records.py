"""A block, or a station as if it were one, with the stretches of the probes that serve it."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from math import isnan
from typing import Protocol

from alerts.notices import StationSource
from alerts.root_zone import Weights
from probes.soil.carry import Ground

CANDIDATES = 6
"""From so many neighbours a block may borrow days; alerts.neighbours takes those with readings."""


@dataclass(frozen=True)
class Stretch:
    """A time in which a probe lay at one depth: from a day on, until the probe's next stretch.

    depth_cm is NaN where the block does not use the probe at that depth, where the probe lies
    nowhere any more, or its logger is retired.
    """

    probe_id: int
    valid_from: date
    depth_cm: float


@dataclass(frozen=True)
class Block:
    """A block, its site's clock and hemisphere, and the stretches of the probes that serve it.

    beside : the stretches of other probes at its site
    sources : the stations among the loggers that serve it
    ground : the soil through which it is carried down to its root zone; None: it is not
    thermometers : what those among them are called that are read by hand
    hand_probes : the probes of these, and of those that served it before
    borrows : whether it borrows from its neighbours while no other probe serves it
    neighbourhood : those whom it asks for its neighbours; None: it knows none
    """

    id: str
    name: str
    site_id: str
    site_name: str
    utc_offset_min: int
    south: bool
    latitude: float
    longitude: float
    elevation_m: float | None
    root_zone_cm: tuple[float, float]
    weights: Weights
    rule: str
    stretches: tuple[Stretch, ...]
    beside: tuple[Stretch, ...]
    sources: tuple[StationSource, ...]
    ground: Ground | None
    thermometers: tuple[str, ...]
    hand_probes: frozenset[int]
    district_id: str | None
    borrows: bool
    neighbourhood: Asked | None = field(default=None, compare=False, repr=False)

    @property
    def neighbours(self) -> tuple[Lender, ...]:
        """The neighbours that it knows, looked for when it is asked."""
        return self.neighbourhood.find_lenders(self) if self.neighbourhood else ()

    @property
    def lenders(self) -> tuple[Lender, ...]:
        """The neighbours that it may borrow days from."""
        return self.neighbours[:CANDIDATES] if self.borrows else ()

    @property
    def in_use(self) -> list[Stretch]:
        """The probes it rests on now, by depth."""
        latest = {stretch.probe_id: stretch for stretch in self.stretches}  # in order of time
        used = (stretch for stretch in latest.values() if not isnan(stretch.depth_cm))
        return sorted(used, key=lambda stretch: stretch.depth_cm)

    @property
    def is_probed(self) -> bool:
        """Whether a probe serves it now that nobody has to read by hand."""
        return any(stretch.probe_id not in self.hand_probes for stretch in self.in_use)


@dataclass(frozen=True)
class Lender:
    """A block with probes, or a station as if it were one, that another block may borrow from.

    higher_m : how much higher it lies than the other block; None: not known
    """

    place: Block
    is_station: bool
    distance_km: float
    higher_m: float | None
    unlikeness: float

    @property
    def name(self) -> str:
        """What people call it: a station by its site."""
        return self.place.site_name if self.is_station else self.place.name


class Asked(Protocol):
    """What blocks ask for their neighbours."""

    def find_lenders(self, block: Block, /) -> tuple[Lender, ...]:
        """Return the neighbours that lend to a block, the most alike first."""
        ...
