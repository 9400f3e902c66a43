"""What is new of loggers, stations and probes: readings stopped or back, a download due."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import get_args

from alerts.figures import show_day, show_depths
from alerts.news import sort_key, tidy
from alerts.silence import Turn
from alerts.words import translations

TURNS: tuple[Turn, ...] = get_args(Turn)
"""The most useful first."""


@dataclass(frozen=True)
class SilenceNotice:
    """One thing to tell about a logger or station, or about one probe of it.

    depth_cm : where the probe lies; None: it is about all of the logger
    last_on : the day of its last usable reading, in its site's standard time; where it is back, the
        day of the last one before what is missing
    back_on : where it is back, the day of the first one after what is missing; None: nothing is
    unusable : whether it goes on writing values that cannot be right
    usual_days : where a download is due, how often it is usually emptied
    failing_since, failure : of a station, since when and why it cannot be fetched
    block_names : the reader's blocks that rest on it
    borrower_names : those that have borrowed from blocks that do, or from the station
    """

    what: Turn
    logger_id: str
    is_station: bool
    site_name: str
    depth_cm: float | None
    last_on: date
    back_on: date | None = None
    unusable: bool = False
    usual_days: int | None = None
    failing_since: date | None = None
    failure: str | None = None
    block_names: tuple[str, ...] = ()
    borrower_names: tuple[str, ...] = ()

    @property
    def is_lent(self) -> bool:
        """Whether it concerns the reader only by what neighbours lend."""
        return bool(self.borrower_names) and not self.block_names


def order_silences(silences: Sequence[SilenceNotice]) -> list[SilenceNotice]:
    """Return silences by what is new, then by site, logger and depth."""
    return sorted(silences, key=_in_order)


def name_source(one: SilenceNotice, language: str) -> str:
    """Return "Logger DT-2 at 60 cm"."""
    _ = translations(language).gettext
    name = _("Station {name}") if one.is_station else _("Logger {name}")
    name = name.format(name=tidy(one.logger_id))
    if one.depth_cm is None:
        return name
    return _("{logger} at {depth}").format(logger=name, depth=show_depths([one.depth_cm], language))


def headline_silence(one: SilenceNotice, label: str, language: str, as_of: date) -> str:
    """Return what is new of a logger, called `label`, in one clause that is right alone."""
    _ = translations(language).gettext
    match one.what:
        case "stopped" if one.unusable:
            text = _("{logger}: no usable readings since {day}")
        case "stopped":
            text = _("{logger}: no readings since {day}")
        case "due":
            text = _("{logger}: a download is due")
        case "returned":
            text = _("{logger}: readings are back")
    return text.format(logger=label, day=show_day(one.last_on, language, as_of, short=True))


def sum_up_silences(silences: Sequence[SilenceNotice], language: str) -> str:
    """Return "Readings: 2 stopped, 1 back, 1 download due"."""
    counts = Counter(one.what for one in silences)
    clauses = [_count(turn, counts[turn], language) for turn in TURNS if counts[turn]]
    return (
        translations(language).gettext("Readings: {outcomes}").format(outcomes=", ".join(clauses))
    )


def _count(turn: Turn, count: int, language: str) -> str:
    words = translations(language)
    match turn:
        case "stopped":
            text = words.ngettext("{count} stopped", "{count} stopped", count)
        case "due":
            text = words.ngettext("{count} download due", "{count} downloads due", count)
        case "returned":
            text = words.ngettext("{count} back", "{count} back", count)
    return text.format(count=count)


def _in_order(one: SilenceNotice) -> tuple[object, ...]:
    where = (*sort_key(one.site_name), *sort_key(one.logger_id))
    return TURNS.index(one.what), *where, one.depth_cm or 0.0
