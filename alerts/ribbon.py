"""The season ribbon as one line of characters: when a window was open, and what is not known."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np

from alerts.figures import show_month
from alerts.season_days import DayKind, SeasonDays
from alerts.words import translations

OPEN, UNSEEN, CLOSED, RESTING, NO_READINGS, TODAY = "█▒·─ ◂"
_MONTH, _MONTH_TO_COME = "│┊"
SHADES = {"░": 0.1, "▒": 1 / 3, "▓": 2 / 3}
"""What days ahead are shaded by, each from this chance of being open on."""


CHARACTERS: dict[DayKind, str] = {
    "open": OPEN,
    "unseen": UNSEEN,
    "closed": CLOSED,
    "hot": CLOSED,
    "resting": RESTING,
    "no readings": NO_READINGS,
}


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


def draw_ribbon(season: SeasonDays, width: int = 48) -> Ribbon:
    """Return a season from left to right in `width` characters, each for several days.

    A cell shows an open day if it holds one, else a day on which the window may have been open
    unseen, else where a month begins, else what most of its known days are. Of days that follow
    the months are ruled, and the chance of being open fades in.
    """
    n_days, n_known = season.kinds.size, season.n_known
    kinds = [CHARACTERS[kind] for kind in season.kinds.tolist()]
    begins_month = [(season.first + timedelta(days=i)).day == 1 for i in range(n_days)]
    bounds = np.linspace(0, n_days, width + 1).round().astype(int).tolist()
    shades = [
        _shade(season.chance_ahead((start + stop) // 2 - n_known + 1)) if start >= n_known else ""
        for start, stop in pairwise(bounds)
    ]
    cells = [
        shade or _cell(kinds[start : min(stop, n_known)], any(begins_month[start:stop]))
        for shade, (start, stop) in zip(shades, pairwise(bounds), strict=True)
    ]
    today = int(np.searchsorted(bounds, n_known))
    if today < width:
        cells[today] = TODAY
    return Ribbon("".join(cells), season.first, season.last, any(shades))


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


def _shade(chance: float) -> str:
    """Return the shade of a chance of being open; nothing below the least one."""
    return "".join(shade for shade, least in SHADES.items() if chance >= least)[-1:]


def _cell(kinds: list[str], begins_month: bool) -> str:
    if OPEN in kinds:
        return OPEN
    if UNSEEN in kinds:
        return UNSEEN
    if begins_month:
        return _MONTH if kinds else _MONTH_TO_COME
    return max(kinds, key=kinds.count, default=NO_READINGS)
