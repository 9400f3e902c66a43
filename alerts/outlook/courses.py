"""What members do in a season: drawn after the last day with a value, judged by the one engine."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from alerts.outlook.air import Air, heed_air
from alerts.outlook.curves import Curves, follow
from alerts.outlook.members import coming_days, draw_members
from alerts.rules import WindowRule
from alerts.season import season_start
from alerts.windows import Span, find_spans

_DAYS_AT_ONCE = 12_000_000  # of members: 100 MB


@dataclass(frozen=True)
class Lent:
    """What neighbours say of the days after the last one that a block has itself.

    root_zone_c : (n_blocks, n_days), over the days of the blocks' own; NaN elsewhere [degC]
    error_c : (n_blocks,), standard error that lasts through those days and all that follow; 0 where
        a block goes by its own [degC]
    """

    root_zone_c: NDArray[np.float64]
    error_c: NDArray[np.float64]


@dataclass(frozen=True)
class Course:
    """What the members of one block do in a season.

    last_day : the last one with a value of the block's own; None where the season has none
    likely_c : of each day the value, own or lent, or what is most likely from there on [degC]
    spans : of each member
    """

    last_day: date | None
    likely_c: NDArray[np.float64]
    spans: Sequence[Sequence[Span]]


def season_days(season: int, south: bool, rule: WindowRule) -> NDArray[np.datetime64]:
    """Return the days of a season and those before it that its first trailing mean rests on."""
    first, stop = (season_start(one, south) for one in (season, season + 1))
    return np.arange(np.datetime64(first) - (rule.mean_days - 1), np.datetime64(stop))


def place_in_season(
    root_zone_c: NDArray[np.float64],
    days: NDArray[np.datetime64],
    whole: NDArray[np.datetime64],
    as_of: date,
) -> NDArray[np.float64]:
    """Return values of some days, up to `as_of`, over `season_days`; NaN on the others."""
    within = np.isin(days, whole[whole <= np.datetime64(as_of)])
    placed_c = np.full((len(root_zone_c), whole.size), np.nan)
    placed_c[:, np.isin(whole, days[within])] = root_zone_c[:, within]
    return placed_c


def add_lent(
    observed_c: NDArray[np.float64], lent: Lent | None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the days of blocks, own or lent, and how wrong those that were lent are [degC]."""
    if lent is None:
        return observed_c, np.zeros(len(observed_c))
    return np.where(np.isnan(observed_c), lent.root_zone_c, observed_c), lent.error_c


def run_members(
    observed_c: NDArray[np.float64],
    season: int,
    curves: Curves,
    south: bool,
    rule: WindowRule,
    rngs: Sequence[np.random.Generator],
    members: int,
    lent: Lent | None = None,
    air: Sequence[Air | None] = (),
    next_one: bool = False,
) -> Iterator[Course]:
    """Yield, for each block, what its members do after the last day that has a value.

    Parameters
    ----------
    observed_c : array, shape (n_blocks, n_days)
        Over `season_days`. [degC]
    lent : Lent, optional
        Over the same days.
    air : sequence of Air or None, optional
        One a block.
    next_one : bool
        Whether they run through the season after that, which begins without any value.
    """
    whole = season_days(season, south, rule)
    first = rule.mean_days - 1
    known_c, error_c = add_lent(observed_c, lent)
    known = np.flatnonzero(~np.isnan(known_c).all(axis=0))
    stop = max(int(known[-1]) + 1, first) if known.size else first
    belief = follow(curves, known_c[:, first:stop], whole[first:stop])
    days = season_days(season + 1, south, rule) if next_one else whole
    at_once = max(1, _DAYS_AT_ONCE // (members * days.size))
    for begin in range(0, len(observed_c), at_once):
        rows = range(begin, min(begin + at_once, len(observed_c)))
        likely_c = np.full((len(rows), days.size), np.nan)
        if not next_one:
            likely_c[:] = known_c[begin : rows.stop]
        course_c = np.repeat(likely_c[:, np.newaxis], members, axis=1)
        for one, row in enumerate(rows):
            until = first + int(belief.last[row]) + 1
            start = 0 if next_one else until
            ahead_d = int((days[start] - whole[0]).astype(int)) - until if next_one else 0
            mean_c, cov_c2 = coming_days(belief, row, days[start:], max(ahead_d, 0))
            of_air = air[row] if air else None
            if of_air:
                before_c = known_c[row, start - 1] if start > first else np.nan
                mean_c, cov_c2 = heed_air(of_air, days[start:], before_c, mean_c, cov_c2)
            likely_c[one, start:] = mean_c
            course_c[one, :, start:] = draw_members(mean_c, cov_c2, members, rngs[row])
            if error_c[row] > 0:
                above_c = error_c[row] * rngs[row].standard_normal((members // 2, 1))
                own_stop = 0 if next_one else last_known(observed_c[row]) + 1
                course_c[one, :, own_stop:] += np.concatenate([above_c, -above_c])
        flat_c = course_c.reshape(-1, days.size)
        spans = find_spans(flat_c, days, np.full(len(flat_c), south), rule, days[-1].item())
        for one, row in enumerate(rows):
            last = last_known(observed_c[row])
            last_day = whole[last].item() if last >= first else None
            of_block = spans[one * members : (one + 1) * members]
            yield Course(last_day, likely_c[one], of_block)


def last_known(observed_c: NDArray[np.float64]) -> int:
    """Return the position of the last value of a series; -1 where there is none."""
    known = np.flatnonzero(~np.isnan(observed_c))
    return int(known[-1]) if known.size else -1
