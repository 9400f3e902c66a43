"""How many of the blocks of each district were open on each day of a season."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from alerts.season_days import SeasonDays


@dataclass(frozen=True)
class Shares:
    """The share of blocks that were open, by district.

    days : (n_days,) datetime64[D], consecutive, the last one that of `as_of` or the season's end
    open : of each district (n_days,) from 0 to 1; NaN on a day on which no block is known
    blocks : of each district how many there are
    """

    as_of: date
    days: NDArray[np.datetime64]
    open: Mapping[str, NDArray[np.float64]]
    blocks: Mapping[str, int]


def find_shares(seasons: Iterable[tuple[str, SeasonDays]], as_of: date) -> Shares:
    """Return how many blocks were open, of those that are known on a day.

    `seasons` are districts with a season of one of their blocks. A block without readings on a day
    is not counted on it; one that may have been open unseen counts as not open.

    Raises
    ------
    ValueError
        When there is no season.
    """
    by_district: dict[str, list[SeasonDays]] = defaultdict(list)
    for district, season in seasons:
        by_district[district].append(season)
    every = [season for of_district in by_district.values() for season in of_district]
    if not every:
        raise ValueError("no blocks: there is no share of them")
    first = min(season.first for season in every)
    last = min(max(season.last for season in every), as_of)
    days = np.arange(np.datetime64(first, "D"), np.datetime64(max(first, last), "D") + 1)
    shares = {name: _find_share(by_district[name], days) for name in sorted(by_district)}
    return Shares(as_of, days, shares, {name: len(by_district[name]) for name in shares})


def _find_share(seasons: Iterable[SeasonDays], days: NDArray[np.datetime64]) -> NDArray[np.float64]:
    known, are_open = np.zeros(days.size), np.zeros(days.size)
    for season in seasons:
        kinds = season.kinds[: season.n_known]
        begin = int((np.datetime64(season.first, "D") - days[0]).astype(int))
        part = slice(begin, begin + kinds.size)
        known[part] += (kinds != "no readings")[: days.size - begin]
        are_open[part] += (kinds == "open")[: days.size - begin]
    share = np.full(days.size, np.nan)
    np.divide(are_open, known, out=share, where=known > 0)
    return share
