"""The season ribbon as one line of characters: when a window was open, and what is not known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from alerts.figures import show_month
from alerts.windows import Span
from alerts.words import translations

OPEN, UNSEEN, CLOSED, RESTING, NO_READINGS, TODAY = "█▒·─ ◂"
_MONTH, _MONTH_TO_COME = "│┊"
SHADES = {"░": 0.1, "▒": 1 / 3, "▓": 2 / 3}
"""What days ahead are shaded by, each from this chance of being open on."""


@dataclass(frozen=True)
class Ribbon:
    """A season as a line of characters, from its first day to its last.

    is_shaded : whether days ahead are
    """

    cells: str
    first: date
    last: date
    is_shaded: bool = False

    def show(self, language: str) -> str:
        """Return "Jul 2025 ····│··██████ Jun 2026"."""
        first, last = (show_month(day, language) for day in (self.first, self.last))
        return f"{first} {self.cells} {last}"


def draw_ribbon(
    spans: Sequence[Span],
    season_start: date,
    season_end: date,
    measured: NDArray[np.bool_],
    as_of: date,
    width: int = 48,
    open_chances: Sequence[float] = (),
) -> Ribbon:
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
        The last day that is known; of what follows the months are ruled.
    open_chances : sequence of float, optional
        Of being open on `as_of` and each seventh day after it: what follows fades in by them.

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
    shades = [
        _shade((start + stop) // 2 - n_known + 1, open_chances) if start >= n_known else ""
        for start, stop in pairwise(bounds)
    ]
    cells = [
        shade or _cell(kinds[start : min(stop, n_known)].tolist(), begins_month[start:stop].any())
        for shade, (start, stop) in zip(shades, pairwise(bounds), strict=True)
    ]
    today = int(np.searchsorted(bounds, n_known))
    if today < width:
        cells[today] = TODAY
    return Ribbon("".join(cells), season_start, season_end, any(shades))


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


def explain_shades(language: str) -> str:
    """Return what the shades of the days ahead mean, in one line."""
    _ = translations(language).gettext
    text = _("{shades} ahead: open with a chance of at least 1 in 10, 1 in 3, 2 in 3")
    return text.format(shades="".join(SHADES))


def _shade(days_ahead: int, open_chances: Sequence[float]) -> str:
    """Return the shade of a day ahead; nothing below the least chance, or without any."""
    week = round(days_ahead / 7)
    if week >= len(open_chances):
        return ""
    return "".join(shade for shade, least in SHADES.items() if open_chances[week] >= least)[-1:]


def _rests(days: NDArray[np.object_], spans: Sequence[Span]) -> NDArray[np.bool_]:
    """Return the days between a spring that is spent and the opening of fall."""
    spent = (span.closed_on for span in spans if span.closed_on and span.reason == "spent")
    spent_on = min(spent, default=date.max)
    fall_on = min((span.not_before for span in spans if span.kind == "fall"), default=date.max)
    return (days >= spent_on) & (days < fall_on)


def _cell(kinds: list[str], begins_month: bool | np.bool_) -> str:
    if OPEN in kinds:
        return OPEN
    if UNSEEN in kinds:
        return UNSEEN
    if begins_month:
        return _MONTH if kinds else _MONTH_TO_COME
    return max(kinds, key=kinds.count, default=NO_READINGS)
