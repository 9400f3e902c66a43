"""The likely course of what decides: the trailing mean, and between what it stays mostly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from alerts.bounds import SHIFT
from alerts.outlook.air import Air, heed_air
from alerts.outlook.courses import Lent, add_lent, last_known, place_in_season, season_days
from alerts.outlook.curves import Belief, Curves, follow
from alerts.outlook.members import coming_days
from alerts.rules import WindowRule
from alerts.season import season_of


@dataclass(frozen=True)
class Fan:
    """The trailing mean of coming days, by the same belief that members are drawn from.

    days : (n,) datetime64[D], consecutive, from the day after a block's own last one
    low_c, middle_c, high_c : (n,), between low and high it lies eight times in ten [degC]
    """

    days: NDArray[np.datetime64]
    low_c: NDArray[np.float64]
    middle_c: NDArray[np.float64]
    high_c: NDArray[np.float64]

    @property
    def rises(self) -> bool:
        """Whether its middle is warmer in the end."""
        return bool(self.days.size and self.middle_c[-1] > self.middle_c[0])


def find_fans(
    root_zone_c: NDArray[np.float64],
    days: NDArray[np.datetime64],
    curves: Curves,
    south: bool,
    rule: WindowRule,
    as_of: date,
    until: date,
    lent: Lent | None = None,
    air: Sequence[Air | None] = (),
) -> list[Fan]:
    """Return the fan of each block on the evening of `as_of`, up to a day.

    Parameters
    ----------
    root_zone_c, days, curves, south, rule, as_of, lent, air
        As in alerts.outlook.dates.find_outlooks.
    """
    whole = season_days(season_of(as_of, south), south, rule)
    observed_c = place_in_season(root_zone_c, days, whole, as_of)
    if lent is not None:
        lent = Lent(place_in_season(lent.root_zone_c, days, whole, as_of), lent.error_c)
    known_c, error_c = add_lent(observed_c, lent)
    first = rule.mean_days - 1
    belief = follow(curves, known_c[:, first:], whole[first:])
    stop = int((np.datetime64(until) - whole[0]).astype(int)) + 1
    season = np.arange(whole[0], whole[0] + stop)
    return [
        _find_fan(
            known_c[row],
            belief,
            row,
            season,
            max(last_known(observed_c[row]) + 1, first),
            first,
            float(error_c[row]),
            air[row] if air else None,
        )
        for row in range(len(known_c))
    ]


def _find_fan(
    known_c: NDArray[np.float64],
    belief: Belief,
    row: int,
    season: NDArray[np.datetime64],
    begin: int,
    before: int,
    error_c: float,
    air: Air | None,
) -> Fan:
    """Return the fan of a block from day `begin` of the season on; `before` days join the mean."""
    start = before + int(belief.last[row]) + 1
    mean_c, cov_c2 = coming_days(belief, row, season[start:])
    if air:
        before_c = known_c[start - 1] if start > before else np.nan
        mean_c, cov_c2 = heed_air(air, season[start:], before_c, mean_c, cov_c2)
    value_c = np.concatenate([known_c[begin - before : start], mean_c])
    weight = _weigh(~np.isnan(value_c), before)
    middle_c = weight @ np.nan_to_num(value_c)
    of_coming = weight[:, start - begin + before :]
    variance_c2 = np.einsum("ij,jk,ik->i", of_coming, cov_c2, of_coming, optimize=True)
    lasting_c = error_c * weight[:, before:].sum(axis=1)
    wide_c = SHIFT * np.sqrt(variance_c2 + lasting_c**2)
    return Fan(season[begin:], middle_c - wide_c, middle_c, middle_c + wide_c)


def _weigh(has_value: NDArray[np.bool_], before: int) -> NDArray[np.float64]:
    """Return what each day adds to the mean of each day from `before` on; NaN where none does."""
    day = np.arange(has_value.size)
    apart = day[before:, np.newaxis] - day
    counts = (apart >= 0) & (apart <= before) & has_value
    with np.errstate(invalid="ignore"):
        return counts / counts.sum(axis=1, keepdims=True)
