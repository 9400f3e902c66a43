"""What the seasons of each place say together, and by how much places differ."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from alerts.study.estimates import (
    Difference,
    Middle,
    Trend,
    find_difference,
    find_middle,
    find_trend,
)

if TYPE_CHECKING:
    import pandas as pd

Key = tuple[Any, ...]
Pair = tuple[Key, Key]
PLACE = ["site", "block", "depth_cm"]
VARIANT = ["rule", "spring_opens_f", "spring_opens_c", "margin_f", "mean_days", "kind"]


@dataclass(frozen=True)
class Summary:
    """What the openings of one place under one rule say together.

    south : whether the place lies south of the equator
    counts : seasons by their outcome
    known : those whose opening is known to the day
    middle : between which days of the season half of them have opened
    trend : None where too few openings are known to the day
    """

    place: Key
    variant: Key
    south: bool
    counts: dict[str, int]
    known: int
    middle: Middle | None
    trend: Trend | None


@dataclass(frozen=True)
class PlaceDifference:
    """By how much a place opens later than the one it is held against, under one rule."""

    place: Key
    against: Key
    variant: Key
    difference: Difference | None


def summarise(frame: pd.DataFrame) -> Iterator[Summary]:
    """Yield a summary for each place, rule, and spring and fall, in the order of the frame."""
    groups: Any = frame[frame["asked_d"] > 0].groupby(
        [*PLACE, *VARIANT], sort=False, dropna=False, observed=True
    )
    for key, asked in groups:
        opened = asked["opened_day"].to_numpy()
        after = asked["after_day"].to_numpy()
        exact = opened == after + 1
        counts = asked["outcome"].value_counts()
        yield Summary(
            place=key[: len(PLACE)],
            variant=key[len(PLACE) :],
            south=bool((asked["latitude"] < 0).all()),
            counts={str(name): int(count) for name, count in counts.items() if count},
            known=int(exact.sum()),
            middle=find_middle(after, np.where(np.isnan(opened), np.inf, opened)),
            trend=find_trend(
                asked["season"].to_numpy(np.float64)[exact],
                opened[exact],
                int((~exact).sum()),
            ),
        )


def find_differences(frame: pd.DataFrame, pairs: Sequence[Pair]) -> Iterator[PlaceDifference]:
    """Yield by how much the second place of each pair opens later, under each rule."""
    asked_of = frame[frame["asked_d"] > 0]
    groups: Any = asked_of.groupby(PLACE, sort=False, dropna=False)
    by_place = {_without_nan(place): rows for place, rows in groups}
    for against, place in pairs:
        one, other = (by_place[_without_nan(each)] for each in (against, place))
        both = one.merge(other, on=[*VARIANT, "season"])
        for variant, asked in both.groupby(VARIANT, sort=False, observed=True):
            opened = asked[["opened_day_x", "opened_day_y"]].notna().all(axis=1)
            after, by = (
                tuple(asked.loc[opened, f"{name}_{side}"].to_numpy() for side in "xy")
                for name in ("after_day", "opened_day")
            )
            found = find_difference(after, by, len(asked))
            yield PlaceDifference(place, against, variant, found)


def _without_nan(place: Key) -> Key:
    """Return a place as one that equals itself: blocks have no depth."""
    site, block, depth_cm = place
    return site, block or depth_cm


def pair_places(frame: pd.DataFrame, against: str = "") -> list[Pair]:
    """Return what each place is held against, before it.

    That is the block named `against`, or the same depth of the site of that name; without a name
    the shallowest depth of the same site. LookupError where the frame holds nothing of that name.
    """
    places = list(frame[PLACE].drop_duplicates().itertuples(index=False, name=None))
    if against:
        of_block = {block: (site, block, depth_cm) for site, block, depth_cm in places if block}
        if against in of_block:
            return [(of_block[against], one) for one in places if one[1] not in ("", against)]
        at_depth = {one[2]: one for one in places if one[0] == against and not one[1]}
        if not at_depth:
            names = ", ".join(sorted({block or site for site, block, _ in places}))
            raise LookupError(f"nothing of '{against}' to hold others against; there are {names}")
        return [
            (at_depth[one[2]], one) for one in places if one[0] != against and one[2] in at_depth
        ]
    first: dict[Any, Key] = {}
    return [
        (first[place[0]], place)
        for place in sorted((one for one in places if not one[1]), key=lambda one: (one[0], one[2]))
        if first.setdefault(place[0], place) != place
    ]


def tell_pairing(against: str) -> str:
    """Return what differences are to, in words."""
    place = against or "the shallowest depth of the site"
    return f"Against {place}, in the same seasons; later is positive"
