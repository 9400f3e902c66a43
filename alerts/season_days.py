"""What each day of a season was for a block: what every picture of a season is drawn from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from alerts.rules import WindowRule
from alerts.season import season_start
from alerts.windows import Span

DayKind = Literal["open", "unseen", "closed", "hot", "resting", "no readings"]
"""Unseen: the window may have been open, readings are missing. Hot: closed by heat. Resting:
between a spring that is spent and the opening of fall. Closed: closed otherwise."""


@dataclass(frozen=True)
class SeasonDays:
    """One season of one block.

    first, last : its first and last day
    as_of : the last day that is known
    kinds : (n_days,) of DayKind; what a day after `as_of` says counts for nothing
    open_chances : of being open on `as_of` and each seventh day after it
    """

    first: date
    last: date
    as_of: date
    kinds: NDArray[np.str_]
    open_chances: tuple[float, ...] = ()

    @property
    def n_known(self) -> int:
        """How many of its days are known."""
        return min(max((self.as_of - self.first).days + 1, 0), self.kinds.size)

    def runs(self) -> Iterator[tuple[DayKind, int, int]]:
        """Yield what the known days were, alike ones together, with the first and the end."""
        begin = 0
        for kind, alike in groupby(self.kinds[: self.n_known].tolist()):
            end = begin + len(list(alike))
            yield kind, begin, end
            begin = end

    def chance_ahead(self, days_ahead: int) -> float:
        """Return the chance of being open so many days after `as_of`; 0 where it is not known."""
        week = round(days_ahead / 7)
        return self.open_chances[week] if week < len(self.open_chances) else 0.0


def see_season(
    spans: Sequence[Span],
    day: NDArray[np.datetime64],
    mean_c: NDArray[np.float64],
    season: int,
    south: bool,
    rule: WindowRule,
    as_of: date,
    open_chances: Sequence[float] = (),
) -> SeasonDays:
    """Return what each day of a season was, `spans` being of all seasons.

    Parameters
    ----------
    day : array, shape (n_days,)
        Consecutive days, of this season or others.
    mean_c : array, shape (n_days,)
        The trailing mean of the rule on each, NaN where there is none. [degC]
    """
    first, end = (season_start(year, south) for year in (season, season + 1))
    days = np.arange(np.datetime64(first), np.datetime64(end))
    of_season = np.full(days.size, np.nan)
    of_season[np.isin(days, day)] = mean_c[np.isin(day, days)]
    return find_season_days(
        [span for span in spans if span.season == season],
        first,
        end - timedelta(days=1),
        ~np.isnan(of_season),
        as_of,
        open_chances,
        of_season > rule.hot_above_c - rule.margin_c,
    )


def find_season_days(
    spans: Sequence[Span],
    first: date,
    last: date,
    measured: NDArray[np.bool_],
    as_of: date,
    open_chances: Sequence[float] = (),
    hot: NDArray[np.bool_] | None = None,
) -> SeasonDays:
    """Return what each day of a season was.

    Parameters
    ----------
    spans : sequence of Span
        Of one block and this season.
    first, last : date
        The season's first and last day.
    measured : array, shape (n_days,)
        Whether the day has a root-zone mean.
    as_of : date
        The last day that is known.
    open_chances : sequence of float, optional
        Of being open on `as_of` and each seventh day after it.
    hot : array, shape (n_days,), optional
        Whether the mean is above what lets a window open again after heat.

    Raises
    ------
    ValueError
        When `measured` is not of the season's days.
    """
    n_days = (last - first).days + 1
    if measured.shape != (n_days,):
        raise ValueError(f"{measured.shape} is not the {n_days} days of the season")
    days = np.array([first + timedelta(days=i) for i in range(n_days)])
    kinds = np.where(measured, "closed", "no readings").astype("<U11")
    kinds[_rests(days, spans) & measured] = "resting"
    if hot is not None:
        kinds[_after_heat(days, spans) & measured & hot] = "hot"
    for span in spans:
        kinds[(days >= span.not_before) & (days < span.opened_on)] = "unseen"
        closed_on = span.closed_on or date.max
        surely_until = span.closed_not_before or closed_on
        kinds[(days >= span.opened_on) & (days < surely_until)] = "open"
        kinds[(days >= surely_until) & (days < closed_on)] = "unseen"
    return SeasonDays(first, last, as_of, kinds, tuple(open_chances))


def _rests(days: NDArray[np.object_], spans: Sequence[Span]) -> NDArray[np.bool_]:
    """Return the days between a spring that is spent and the opening of fall."""
    spent = (span.closed_on for span in spans if span.closed_on and span.reason == "spent")
    spent_on = min(spent, default=date.max)
    fall_on = min((span.not_before for span in spans if span.kind == "fall"), default=date.max)
    return (days >= spent_on) & (days < fall_on)


def _after_heat(days: NDArray[np.object_], spans: Sequence[Span]) -> NDArray[np.bool_]:
    """Return the days since heat closed a window, until the next one opens."""
    closed = np.zeros(days.size, bool)
    for place, span in enumerate(spans):
        if span.closed_on and span.reason == "hot":
            next_on = spans[place + 1].not_before if place + 1 < len(spans) else date.max
            closed |= (days >= span.closed_on) & (days < next_on)
    return closed
