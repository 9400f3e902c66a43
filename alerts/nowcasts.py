"""What a window has probably done since a block's last readings: told once, then replaced.

A nowcast is no opening that people believe in: the notice of the opening itself still comes when
readings do, and says what the nowcast had said. Where readings contradict it, that is told. That a
window opens again after it has closed is left to readings: pauses are short, and the outlook of a
block without readings knows too little of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta

from alerts.changes import Change, Told
from alerts.notices import Nowcast, What
from alerts.outlook.dates import Outlook
from alerts.windows import Kind, Span

NOWCAST_CHANCE = 0.8
"""With this chance it is told: eight in ten, as the days that an outlook names. Ours."""
LATE_DAYS = 7
"""So old the last readings must be: what is a few days late is soon there. Ours."""


def find_nowcast(outlook: Outlook, told: Iterable[Told]) -> Change | None:
    """Return what to tell of a block's window by its outlook, with nothing else to go by.

    Parameters
    ----------
    outlook : of its day of issue
    told : the notices made about its season, oldest first; that a window is probably open is told
        where nothing is told of it yet, that it is probably closed where it is told to be open
    """
    issued_on, last_day = outlook.issued_on, outlook.last_day
    if last_day and issued_on - last_day < timedelta(days=LATE_DAYS):
        return None
    last = _find_last(told, outlook.season, outlook.kind, issued_on)
    is_told_open = last and last.opened_on and last.closed_on is None
    opens, closes = outlook.opens, outlook.closes
    what: What
    if last is None or last.what == "nowcast withdrawn":
        what, chance, since = "probably open", outlook.open_now, opens and opens.p50
    elif is_told_open:
        what, chance, since = "probably closed", closes.by_now, closes.p50
    else:
        return None
    if since is None or chance < NOWCAST_CHANCE:
        return None
    nowcast = Nowcast(issued_on, since, chance, last_day)
    return Change(outlook.season, outlook.kind, what, None, nowcast=nowcast)


def settle_nowcasts(
    changes: Sequence[Change],
    spans: Sequence[Span],
    told: Sequence[Told],
    mean_on: date | None,
    as_of: date,
) -> Iterator[Change]:
    """Yield the changes of a block, with what readings now say of nowcasts told before.

    Parameters
    ----------
    changes : what alerts.changes.find_changes found
    spans, told, as_of : as it took them, with the nowcasts among what was told
    mean_on : the last day of the season with a trailing mean; None: it has none
    """
    for change in changes:
        yield replace(change, nowcast_said=_find_said(told, change.season, change.kind, as_of))
    windows: set[tuple[int, Kind]] = {(one.season, one.kind) for one in told}
    windows -= {(change.season, change.kind) for change in changes}
    for season, kind in sorted(windows):
        said = _find_said(told, season, kind, as_of)
        last = _find_last(told, season, kind, as_of)
        if said is None or last is None or last.nowcast_on is None:
            continue
        now = [span for span in spans if (span.season, span.kind) == (season, kind)]
        is_read = mean_on is not None and mean_on >= last.nowcast_on
        opened_said, closed_said = said
        if opened_said and now:  # it came and went: untold it would be no news
            yield Change(season, kind, "closed", now[-1], nowcast_said=said)
        elif opened_said and is_read:
            yield Change(season, kind, "nowcast withdrawn", None, nowcast_said=said)
        elif now and is_read:
            yield Change(season, kind, "corrected", now[-1], (now[-1].opened_on, closed_said))


def _find_said(
    told: Iterable[Told], season: int, kind: Kind, as_of: date
) -> tuple[date | None, date | None] | None:
    """Return since about when nowcasts said, last of all, that a window is open and closed.

    None where readings were told since.
    """
    said: tuple[date | None, date | None] | None = None
    for one in _of_window(told, season, kind, as_of):
        if one.what == "probably open":
            said = (one.opened_on, None)
        elif one.what == "probably closed":
            said = (said[0] if said else None, one.closed_on)
        else:
            said = None
    return said


def _find_last(told: Iterable[Told], season: int, kind: Kind, as_of: date) -> Told | None:
    """Return what was told last of a window, up to a day."""
    of_window = _of_window(told, season, kind, as_of)
    return of_window[-1] if of_window else None


def _of_window(told: Iterable[Told], season: int, kind: Kind, as_of: date) -> list[Told]:
    return [
        one
        for one in told
        if (one.season, one.kind) == (season, kind) and (one.nowcast_on or as_of) <= as_of
    ]
