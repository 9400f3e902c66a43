"""The season ribbon as one line of characters: when a window was open, and what is not known."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from alerts.windows import Span
from alerts.words import translations

OPEN, UNSEEN, CLOSED, RESTING, NO_READINGS, TODAY = "█▒·─ ◂"
_MONTH, _MONTH_TO_COME = "│┊"


def draw_ribbon(
    spans: Sequence[Span],
    season_start: date,
    season_end: date,
    measured: NDArray[np.bool_],
    as_of: date,
    width: int = 48,
) -> str:
    """Return a season from left to right in `width` characters, each for several days.

    Parameters
    ----------
    spans : sequence of Span
        Of one block and this season.
    season_start, season_end : date
        The season's first and last day.
    measured : array, shape (n_days,)
        Whether the day has a root-zone mean.
    as_of : date
        The last day that is known; of what follows only the months are ruled.

    A cell shows an open day if it holds one, else a day on which the window may have been open
    unseen, else where a month begins, else what most of its known days are.
    """
    n_days = (season_end - season_start).days + 1
    if measured.shape != (n_days,):
        raise ValueError(f"{measured.shape} is not the {n_days} days of the season")
    days = np.array([season_start + timedelta(days=i) for i in range(n_days)])
    n_known = min(max((as_of - season_start).days + 1, 0), n_days)
    kinds = np.where(measured, CLOSED, NO_READINGS)
    kinds[_rests(days, spans) & measured] = RESTING
    for span in spans:
        kinds[(days >= span.not_before) & (days < span.opened_on)] = UNSEEN
        closed_on = span.closed_on or date.max
        surely_until = span.closed_not_before or closed_on
        kinds[(days >= span.opened_on) & (days < surely_until)] = OPEN
        kinds[(days >= surely_until) & (days < closed_on)] = UNSEEN
    begins_month = np.array([day.day == 1 for day in days])
    bounds = np.linspace(0, n_days, width + 1).round().astype(int)
    cells = [
        _cell(kinds[start : min(stop, n_known)].tolist(), bool(begins_month[start:stop].any()))
        for start, stop in pairwise(bounds)
    ]
    today = int(np.searchsorted(bounds, n_known))
    if today < width:
        cells[today] = TODAY
    return "".join(cells)


def explain_ribbon(language: str) -> str:
    """Return what the characters of a ribbon mean, in one line."""
    _ = translations(language).gettext
    meanings = [
        (OPEN, _("open")),
        (UNSEEN, _("may have been open")),
        (CLOSED, _("closed")),
        (RESTING, _("resting")),
        (f"'{NO_READINGS}'", _("no readings")),
        (TODAY, _("today")),
    ]
    return "  ".join(f"{character} {meaning}" for character, meaning in meanings)


def _rests(days: NDArray[np.object_], spans: Sequence[Span]) -> NDArray[np.bool_]:
    """Return the days between a spring that is spent and the opening of fall."""
    spent = (span.closed_on for span in spans if span.closed_on and span.reason == "spent")
    spent_on = min(spent, default=date.max)
    fall_on = min((span.not_before for span in spans if span.kind == "fall"), default=date.max)
    return (days >= spent_on) & (days < fall_on)


def _cell(kinds: list[str], begins_month: bool) -> str:
    if OPEN in kinds:
        return OPEN
    if UNSEEN in kinds:
        return UNSEEN
    if begins_month:
        return _MONTH if kinds else _MONTH_TO_COME
    return max(kinds, key=kinds.count, default=NO_READINGS)
