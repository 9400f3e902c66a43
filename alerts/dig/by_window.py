"""Whether digs within a window showed more: finds per dig, with what so few of them leave open."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from math import hypot

from scipy.stats import binomtest

from alerts.dig.records import DigRecord, Outcome
from probes.units import c_to_f

CONFIDENCE = 0.95
TEMPERATURES_F = (60.0, 64.0, 70.0, 78.0, 86.0)
"""Where classes of the root zone meet: the rule's limits, and two between them. Ours, no source."""
DAYS_OPEN = (0, 7, 14, 28)
"""Where classes of days since an opening begin. Ours, no source."""


class Side(StrEnum):
    """Where a dig lay to the windows of its block."""

    INSIDE = "inside"
    OUTSIDE = "outside"
    NOT_KNOWN = "not known"
    """No readings, or a day on which the window may have opened or closed unseen."""


@dataclass(frozen=True)
class PlacedDig:
    """A dig, and what the soil was like.

    root_zone_c : the five-day mean of that day; None: not known [degC]
    days_open : since the window opened; None: not inside one
    """

    record: DigRecord
    side: Side
    root_zone_c: float | None
    days_open: int | None


@dataclass(frozen=True)
class Rate:
    """Finds among digs of one kind.

    by : "window", "root zone" or "days open"
    group : which of it
    by_lot : whether the vines were drawn by lot; else they were chosen
    digs : with live roots, or with a find or a suspicion
    finds : those of the digs that a specialist confirmed
    suspected : those of the digs of which no specialist has spoken
    no_live_roots : digs beside these, which show nothing
    """

    by: str
    group: str
    by_lot: bool
    digs: int
    finds: int
    suspected: int
    no_live_roots: int

    @property
    def share(self) -> float | None:
        """Finds per dig; None: nothing was dug."""
        return self.finds / self.digs if self.digs else None

    @property
    def range(self) -> tuple[float, float]:
        """Between which shares the true one lies 19 times in 20, as if digs knew nothing of each
        other [WILSON-1927].
        """
        if not self.digs:
            return 0.0, 1.0
        found = binomtest(self.finds, self.digs).proportion_ci(CONFIDENCE, method="wilson")
        return float(found.low), float(found.high)


def find_rates(digs: Sequence[PlacedDig]) -> list[Rate]:
    """Return the rates by window, root zone and days open, by lot and chosen apart."""
    return [
        _count(by, group, by_lot, members)
        for by_lot in (True, False)
        for by, group, members in _group([one for one in digs if one.record.by_lot is by_lot])
    ]


def find_difference(inside: Rate, outside: Rate) -> tuple[float, float] | None:
    """Return between which values the difference of two shares lies; None: one side has no digs.

    References
    ----------
    [NEWCOMBE-1998], method 10
    """
    if inside.share is None or outside.share is None:
        return None
    (low, high), (other_low, other_high) = inside.range, outside.range
    difference = inside.share - outside.share
    return (
        difference - hypot(inside.share - low, other_high - outside.share),
        difference + hypot(high - inside.share, outside.share - other_low),
    )


def _group(digs: Sequence[PlacedDig]) -> Iterator[tuple[str, str, list[PlacedDig]]]:
    for side in Side:
        yield "window", side, [one for one in digs if one.side is side]
    known = [(c_to_f(one.root_zone_c), one) for one in digs if one.root_zone_c is not None]
    bounds_f = (-float("inf"), *TEMPERATURES_F, float("inf"))
    for low, high in pairwise(bounds_f):
        yield "root zone", _name(low, high), [one for f, one in known if low <= f < high]
    for first, stop in zip(DAYS_OPEN, (*DAYS_OPEN[1:], None), strict=True):
        members = [
            one
            for one in digs
            if one.days_open is not None and first <= one.days_open < (stop or one.days_open + 1)
        ]
        yield "days open", f"{first}-{stop - 1}" if stop else f"{first} and more", members


def _name(low_f: float, high_f: float) -> str:
    if low_f < 0:
        return f"under {high_f:g} °F"
    return f"{low_f:g} °F and more" if high_f == float("inf") else f"{low_f:g}-{high_f:g} °F"


def _count(by: str, group: str, by_lot: bool, digs: Iterable[PlacedDig]) -> Rate:
    outcomes = [one.record.outcome for one in digs]
    roots_dead = outcomes.count(Outcome.NO_LIVE_ROOTS)
    return Rate(
        by=by,
        group=group,
        by_lot=by_lot,
        digs=len(outcomes) - roots_dead,
        finds=outcomes.count(Outcome.FOUND),
        suspected=outcomes.count(Outcome.SUSPECTED),
        no_live_roots=roots_dead,
    )
