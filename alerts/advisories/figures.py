"""What an advisory says of a region: its blocks counted by district and by height, with dates.

It names no block: what a member grows is told to that member alone.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TypeVar

from alerts.expectations import LIKELY
from alerts.news import sort_key
from alerts.outlook.dates import Outlook
from alerts.states import State
from alerts.windows import Kind, Span

MOST_BANDS = 5
_STEPS_M = (100, 200, 300, 500, 1000, 2000)
_RESTING = ("resting", "too hot", "paused by cold", "spring start not seen")
_NOT_KNOWN = ("no basis", "no recent readings")

Days = tuple[date, date]
"""The first and the last."""

Key = TypeVar("Key")


@dataclass(frozen=True)
class BlockFacts:
    """How a block stands on the evening of an advisory's day.

    district_id, elevation_m : None: not known
    spans : of the season, in order
    mean_c : trailing mean of its root zone; None: there is none [degC]
    limit_c : what opens its spring window [degC]
    """

    district_id: str | None
    elevation_m: float | None
    state: State
    spans: tuple[Span, ...]
    outlook: Outlook | None
    mean_c: float | None
    limit_c: float

    @property
    def is_known(self) -> bool:
        """Whether readings say how it stands."""
        return self.state not in _NOT_KNOWN

    @property
    def awaited(self) -> Outlook | None:
        """The outlook of a block whose next window has not opened."""
        opens = self.outlook.opens if self.outlook else None
        is_awaited = self.is_known and self.state != "open" and opens and opens.by_now < LIKELY
        return self.outlook if is_awaited else None


@dataclass(frozen=True)
class Mean:
    """A trailing mean of a root zone, and the limit it is read against [degC]."""

    mean_c: float
    limit_c: float


@dataclass(frozen=True)
class Group:
    """Some blocks, counted: each stands in one of the six counts.

    opening : likely to open within two weeks, by the outlook
    closed : had a window this season, and none is open; counted above as well
    opened : when those that are open opened
    closes_kind, closes : which window is open, and between when it is likely to close
    opens_kind, opens : which window is awaited, and between when it is likely to open
    may_not_open : those that await it and may not see it at all
    coolest, warmest : of the root zones that are known
    """

    open: int
    opening: int
    resting: int
    over: int
    waiting: int
    not_known: int
    closed: int
    opened: Days | None
    closes_kind: Kind | None
    closes: Days | None
    opens_kind: Kind | None
    opens: Days | None
    may_not_open: int
    coolest: Mean | None
    warmest: Mean | None

    @property
    def blocks(self) -> int:
        """How many there are."""
        counts = self.open, self.opening, self.resting, self.over, self.waiting, self.not_known
        return sum(counts)


@dataclass(frozen=True)
class District:
    """The blocks of a district; `id` and `name` are empty for those of none."""

    id: str
    name: str
    group: Group


@dataclass(frozen=True)
class Band:
    """The blocks at some heights: at least `from_m` and less than `to_m` above the sea."""

    from_m: int
    to_m: int
    group: Group


@dataclass(frozen=True)
class Advisory:
    """The figures of an advisory: readings up to the end of `as_of`.

    districts : by name, those of no district last
    bands : from low to high; none where all lie in one, or their height is not known
    """

    as_of: date
    region: Group
    districts: tuple[District, ...]
    bands: tuple[Band, ...]


def find_advisory(blocks: Sequence[BlockFacts], names: Mapping[str, str], as_of: date) -> Advisory:
    """Return the figures of some blocks; `names` are those of the districts, by id."""
    by_district = _gather(blocks, lambda one: one.district_id or "")
    heights_m = [one.elevation_m for one in blocks if one.elevation_m is not None]
    step_m = _find_step_m(heights_m)
    placed = [one for one in blocks if one.elevation_m is not None]
    by_band = _gather(placed, lambda one: int((one.elevation_m or 0) // step_m) * step_m)
    return Advisory(
        as_of,
        _count(blocks),
        tuple(
            District(key, names.get(key, ""), _count(by_district[key]))
            for key in sorted(by_district, key=lambda key: (not key, sort_key(names.get(key, ""))))
        ),
        tuple(Band(low_m, low_m + step_m, _count(by_band[low_m])) for low_m in sorted(by_band))
        if len(by_band) > 1
        else (),
    )


def is_due(last: Advisory | None, now: Advisory, every_days: int) -> bool:
    """Return whether an advisory is to be drafted after the last one.

    In some district the first block has opened, the first has closed or the last has, and as many
    days have passed.
    """
    if last and now.as_of - last.as_of < timedelta(days=every_days):
        return False
    before = {one.id: one.group for one in last.districts} if last else {}
    return any(_has_turned(before.get(one.id), one.group) for one in now.districts)


def _has_turned(before: Group | None, now: Group) -> bool:
    was_open, had_closed = (before.open > 0, before.closed > 0) if before else (False, False)
    if now.open and not was_open:
        return True
    return was_open and (not now.open or (now.closed > 0 and not had_closed))


def find_differences(then: Advisory, now: Advisory) -> list[tuple[District | None, District]]:
    """Return the districts in which as many blocks are open, or known, no more as there were."""
    before = {one.id: one for one in then.districts}
    return [
        (before.get(one.id), one)
        for one in now.districts
        if one.id not in before or _standing(before[one.id].group) != _standing(one.group)
    ]


def _standing(group: Group) -> tuple[int, int, int]:
    return group.blocks, group.open, group.not_known


def _gather(
    blocks: Sequence[BlockFacts], key_of: Callable[[BlockFacts], Key]
) -> dict[Key, list[BlockFacts]]:
    found: dict[Key, list[BlockFacts]] = defaultdict(list)
    for one in blocks:
        found[key_of(one)].append(one)
    return found


def _find_step_m(heights_m: Sequence[float]) -> int:
    """Return how high a band is, in round metres, so that there are not many."""
    fitting = (
        step_m
        for step_m in _STEPS_M
        if len({height_m // step_m for height_m in heights_m}) <= MOST_BANDS
    )
    return next(fitting, _STEPS_M[-1])


def _count(blocks: Sequence[BlockFacts]) -> Group:
    counts = Counter(map(_place, blocks))
    are_open = [one for one in blocks if one.state == "open"]
    opened_on = [one.spans[-1].opened_on for one in are_open]
    closing = [one.outlook for one in are_open if one.outlook and one.outlook.opens is None]
    awaited = [outlook for one in blocks if (outlook := one.awaited)]
    opens_kind = _most_common([one.kind for one in awaited])
    opening = [one.opens for one in awaited if one.opens and one.kind == opens_kind]
    means = [Mean(one.mean_c, one.limit_c) for one in blocks if one.is_known and one.mean_c]
    closes_kind = _most_common([one.spans[-1].kind for one in are_open])
    return Group(
        **{name: counts[name] for name in _COUNTS},
        closed=sum(bool(one.spans) and one.state != "open" for one in blocks),
        opened=_ends(opened_on, opened_on),
        closes_kind=closes_kind,
        closes=_ends(
            [one.closes.p10 for one in closing if one.kind == closes_kind],
            [one.closes.p90 for one in closing if one.kind == closes_kind],
        ),
        opens_kind=opens_kind,
        opens=_ends([one.p90 and one.p10 for one in opening], [one.p90 for one in opening]),
        may_not_open=sum(one.p90 is None for one in opening),
        coolest=min(means, key=lambda one: one.mean_c, default=None),
        warmest=max(means, key=lambda one: one.mean_c, default=None),
    )


_COUNTS = ("open", "opening", "resting", "over", "waiting", "not_known")


def _place(one: BlockFacts) -> str:
    if not one.is_known:
        return "not_known"
    if one.state == "open":
        return "open"
    awaited = one.awaited
    if awaited and awaited.opens_soon >= LIKELY:
        return "opening"
    if one.state in _RESTING:
        return "resting"
    return "over" if one.state == "done for the season" else "waiting"


def _most_common(kinds: Sequence[Kind]) -> Kind | None:
    return max(("spring", "fall"), key=kinds.count) if kinds else None


def _ends(first: Sequence[date | None], last: Sequence[date | None]) -> Days | None:
    firsts, lasts = ([day for day in days if day] for days in (first, last))
    return (min(firsts), max(lasts)) if firsts and lasts else None
