"""How a block stands by what digging showed over the years."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from alerts.dig.freedom import follow_confidence
from alerts.dig.records import DigRecord, Outcome, Specimen, Vine
from alerts.dig.sampling import Design
from alerts.season import season_of

MANY_VINES = 1_000_000
"""Of a block whose vines nobody has counted: so many that none is sure of much too soon."""


class Standing(StrEnum):
    """How a block stands; there is no word for a block without the insect."""

    FOUND = "found"
    SUSPECTED = "suspected"
    NOT_FOUND = "not found"
    NOT_LOOKED_AT = "not looked at"


@dataclass(frozen=True)
class Search:
    """What vines dug by lot without a find are taken for. Common practice, no source.

    prevalence : the share of vines that is to be found
    sensitivity : the chance that the digging of an infested vine shows it
    introduction : the chance in a year that the block becomes infested to that share
    """

    prevalence: float = 0.05
    sensitivity: float = 0.8
    introduction: float = 0.05


USUAL = Search()


@dataclass(frozen=True)
class BlockStatus:
    """How a block stands on a day.

    since : the first dig that showed this; of "not found" the first dig of all
    last_dug : the last dig of any kind
    confidence : that less than `search.prevalence` of the vines is infested; None where nothing
        was drawn by lot, or the standing is another
    by_lot : vines without a find by season, each once a season; dug by lot with live roots
    chosen : digs without a find at chosen vines, which give no confidence
    no_live_roots : digs that show nothing either way
    vines : those with a find or a suspicion that stands
    """

    standing: Standing
    as_of: date
    since: date | None
    last_dug: date | None
    confidence: float | None
    by_lot: Mapping[int, int]
    chosen: int
    no_live_roots: int
    vines: frozenset[Vine]
    search: Search

    @property
    def percent(self) -> int | None:
        """The confidence as it is shown, cut off: 94.9 is not yet 95, and nothing is 100."""
        return None if self.confidence is None else min(99, int(100 * self.confidence + 1e-9))


def find_status(
    records: Iterable[DigRecord],
    as_of: date,
    south: bool,
    vine_count: int | None = None,
    search: Search = USUAL,
) -> BlockStatus:
    """Return how a block stands by its records up to a day.

    A find stays a find, whatever comes later. A suspicion stands until a specialist has seen
    another insect at that vine; a dig that shows nothing there does not take it away. Where no
    live roots were, nothing was looked at.

    Parameters
    ----------
    records : of one block, in any order
    vine_count : of the block; None: not known, and the confidence is that of a very large one,
        which is lower

    References
    ----------
    [MARTIN-2007], [CAMERON-1998]
    """
    dug = sorted((one for one in records if one.dug_on <= as_of), key=lambda one: one.dug_on)
    of = {
        outcome: [one for one in dug if one.outcome is outcome and not _is_settled(one, dug)]
        for outcome in Outcome
    }
    negative = [one for one in dug if one.outcome is Outcome.NOT_FOUND]
    by_lot = _count_by_lot(negative, south)
    if of[Outcome.FOUND]:
        standing, decisive = Standing.FOUND, of[Outcome.FOUND]
    elif of[Outcome.SUSPECTED]:
        standing, decisive = Standing.SUSPECTED, of[Outcome.SUSPECTED]
    elif negative:
        standing, decisive = Standing.NOT_FOUND, negative
    else:
        standing, decisive = Standing.NOT_LOOKED_AT, []
    confidence = None
    if standing is Standing.NOT_FOUND and by_lot:
        vines = max([vine_count or MANY_VINES, *by_lot.values()])
        design = Design(vines, search.prevalence, search.sensitivity)
        season = season_of(as_of, south)
        _, confidence = follow_confidence(design, by_lot, season, search.introduction)
    return BlockStatus(
        standing=standing,
        as_of=as_of,
        since=decisive[0].dug_on if decisive else None,
        last_dug=dug[-1].dug_on if dug else None,
        confidence=confidence,
        by_lot=by_lot,
        chosen=sum(not one.by_lot for one in negative),
        no_live_roots=len(of[Outcome.NO_LIVE_ROOTS]),
        vines=frozenset(one.vine for one in of[Outcome.FOUND] + of[Outcome.SUSPECTED]),
        search=search,
    )


def _is_settled(one: DigRecord, dug: Collection[DigRecord]) -> bool:
    """Return whether a suspicion is taken away by what a specialist saw at its vine since."""
    return one.outcome is Outcome.SUSPECTED and any(
        other.specimen is Specimen.ANOTHER and other.vine == one.vine and other.dug_on >= one.dug_on
        for other in dug
    )


def _count_by_lot(negative: Iterable[DigRecord], south: bool) -> dict[int, int]:
    """Return the vines of each season, one that was dug twice in it once."""
    vines: dict[int, set[Vine]] = {}
    for one in negative:
        if one.by_lot:
            vines.setdefault(season_of(one.dug_on, south), set()).add(one.vine)
    return {season: len(of_season) for season, of_season in sorted(vines.items())}
