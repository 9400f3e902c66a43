"""What is told once beside openings and closes: that they are near, and how a season was."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from alerts.bounds import DateRange
from alerts.changes import Change, Told
from alerts.expectations import LIKELY
from alerts.notices import ASIDE, Summary
from alerts.outlook.dates import Outlook
from alerts.rules import WindowRule
from alerts.season import season_start
from alerts.states import State
from alerts.windows import Kind, Span, trailing_mean

SURE_DAYS, SURE_CHANCE = 14, 0.1
"""A season is summed up so long after its last close, with less than this chance that a window
opens again; or when the next one begins. Ours."""
OLD_DAYS = 120
"""One that ended longer ago is not summed up any more."""


@dataclass(frozen=True)
class Standing:
    """How a block stands on the evening of a day, with what was told of its last two seasons.

    root_zone_c, days : one series of alerts.windows.evaluate
    """

    spans: Sequence[Span]
    season: int
    state: State
    outlook: Outlook | None
    told: Sequence[Told]
    rule: WindowRule
    south: bool
    root_zone_c: NDArray[np.float64]
    days: NDArray[np.datetime64]
    as_of: date

    def was_told(self, season: int, kind: str | None = None) -> list[Told]:
        """Return what was told of a season, or of one window of it."""
        return [one for one in self.told if one.season == season and kind in (None, one.kind)]


def find_ahead(one: Standing, soon_days: int) -> Iterator[Change]:
    """Yield what is to be told of a block besides its changes, where it has none.

    soon_days : how long before a window opens or closes that is told; 0: not at all
    """
    yield from _find_opening(one, soon_days)
    yield from _find_closing(one, soon_days)
    yield from _sum_up(one)


def _find_opening(one: Standing, soon_days: int) -> Iterator[Change]:
    """Find a window that is likely to open soon, of which nothing has been told yet."""
    outlook = one.outlook
    if outlook is None or outlook.opens is None or one.state == "no recent readings":
        return
    opens = outlook.opens
    if opens.p10 is None or opens.p50 is None or opens.by_now >= LIKELY:
        return
    is_soon = (opens.p50 - one.as_of).days <= soon_days
    if is_soon and not one.was_told(outlook.season, outlook.kind):
        likely = DateRange(opens.p10, opens.p90)
        yield Change(outlook.season, outlook.kind, "opening soon", None, likely=likely)


def _find_closing(one: Standing, soon_days: int) -> Iterator[Change]:
    """Find an open window that people were told of and that is over soon."""
    of_season = [span for span in one.spans if span.season == one.season]
    if not of_season or of_season[-1].closed_on:
        return
    span = of_season[-1]
    told = one.was_told(span.season, span.kind)
    is_told_open = any(each.what not in ASIDE for each in told)
    if not is_told_open or any(each.what == "closing soon" for each in told):
        return
    ends: list[date] = []
    if span.kind == "spring":
        first = next(other for other in of_season if other.kind == "spring")
        ends.append(first.opened_on + timedelta(days=one.rule.spring_days))
    if one.outlook and one.outlook.opens is None and one.outlook.closes.p50:
        ends.append(one.outlook.closes.p50)
    if any(0 < (end - one.as_of).days <= soon_days for end in ends):
        yield Change(span.season, span.kind, "closing soon", span)


def _sum_up(one: Standing) -> Iterator[Change]:
    """Find a season that people were told of and that is over."""
    for season in sorted({span.season for span in one.spans}):
        spans = [span for span in one.spans if span.season == season]
        told = one.was_told(season)
        last = spans[-1]
        is_told = any(each.what not in ASIDE for each in told)
        if not is_told or any(each.what == "season summary" for each in told):
            continue
        if last.closed_on is None or not _is_over(one, season, last.closed_on):
            continue
        stretches: tuple[tuple[Kind, date, date], ...] = tuple(
            (s.kind, s.opened_on, s.closed_on) for s in spans if s.closed_on
        )
        highest = _find_highest(one, season)
        if highest:
            yield Change(
                season, last.kind, "season summary", None, summary=Summary(stretches, *highest)
            )


def _is_over(one: Standing, season: int, closed_on: date) -> bool:
    days_ago = (one.as_of - closed_on).days
    if season < one.season:
        return days_ago <= OLD_DAYS
    outlook = one.outlook
    opens = outlook.opens if outlook and outlook.season == season else None
    may_reopen = opens is not None and opens.chance >= SURE_CHANCE
    return one.state == "done for the season" and days_ago >= SURE_DAYS and not may_reopen


def _find_highest(one: Standing, season: int) -> tuple[float, date] | None:
    """Return the highest trailing mean of a season and its day."""
    first, stop = (season_start(each, one.south) for each in (season, season + 1))
    within = (one.days >= np.datetime64(first)) & (one.days < np.datetime64(stop))
    means_c = np.where(within, trailing_mean(one.root_zone_c, one.rule), np.nan)
    if np.isnan(means_c).all():
        return None
    at = int(np.nanargmax(means_c))
    return float(means_c[at]), one.days[at].item()
