"""What is new in each block: its notices in order of time, and how things stand after the last."""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from types import MappingProxyType
from typing import Literal, get_args

from alerts.notices import ASIDE, Notice
from alerts.windows import Kind
from alerts.words import translations

Outcome = Literal[
    "open",
    "closing soon",
    "probably open",
    "open, corrected",
    "opening soon",
    "not known",
    "corrected",
    "not opened",
    "not open",
    "paused",
    "probably closed",
    "closed",
    "summed up",
]

OUTCOMES: tuple[Outcome, ...] = get_args(Outcome)
"""The most useful first."""


Rank = tuple[int, int]
"""Where a block stands among those that crews go to, least first: alerts.dig.order."""
NOTHING_KNOWN: Rank = (0, 0)


@dataclass(frozen=True)
class BlockNews:
    """The notices about one block in order of time; names without line breaks or controls."""

    site_name: str
    block_name: str
    notices: tuple[Notice, ...]

    @property
    def last(self) -> Notice:
        """The notice whose outcome holds now."""
        return self.notices[-1]

    @property
    def outcome(self) -> Outcome:
        """How things stand after the last notice."""
        return find_outcome(self.last)

    @property
    def is_open(self) -> bool:
        """Whether the window of the last notice is open, or probably is."""
        return self.outcome in ("open", "closing soon", "probably open", "open, corrected")


def gather_news(
    notices: Sequence[Notice], ranks: Mapping[str, Rank] = MappingProxyType({})
) -> list[BlockNews]:
    """Return the news block by block, in the order of their ranks, site by site: a site comes as
    late as the last of its blocks. Those alike come by name, "Terrace 7" before "Terrace 10".

    `ranks` are by the block's id; of one without a rank nothing is known.

    A nowcast is left away where what replaces it is among the notices, and so is that a window
    opens or closes soon where it has.

    Raises
    ------
    ValueError
        When there is no notice: nothing is sent then.
    """
    if not notices:
        raise ValueError("no notices; compose a message only when there is one")
    by_block: defaultdict[str, list[Notice]] = defaultdict(list)
    replaced = {(_window(one), day) for one in notices for day in _said_before(one)}
    come = [one for one in notices if one.what not in ASIDE]
    has_come = {(_window(one), one.closed_on is not None) for one in come}
    for notice in sorted(notices, key=_in_time):
        if notice.nowcast and (_window(notice), notice.nowcast.since) in replaced:
            continue
        if not _is_overtaken(notice, has_come):
            by_block[notice.block_id].append(notice)
    news = [
        BlockNews(tidy(of_block[0].site_name), tidy(of_block[0].block_name), tuple(of_block))
        for of_block in by_block.values()
    ]

    def rank(one: BlockNews) -> Rank:
        return ranks.get(one.last.block_id, NOTHING_KNOWN)

    last: dict[str, Rank] = {}
    for one in news:
        last[one.site_name] = max(rank(one), last.get(one.site_name, rank(one)))
    return sorted(
        news,
        key=lambda one: (
            *(last[one.site_name], sort_key(one.site_name)),
            *(rank(one), sort_key(one.block_name)),
        ),
    )


def find_outcome(notice: Notice) -> Outcome:
    """Return how things stand after a notice.

    A window closed by heat, or by cold in spring, can open again: it is paused.
    """
    match notice.what:
        case "probably open" | "probably closed" as nowcast:
            return nowcast
        case "nowcast withdrawn":
            return "not open"
        case "opening soon" | "closing soon" as ahead:
            return ahead
        case "season summary":
            return "summed up"
        case _ if notice.not_known:
            return "not known"
    if notice.opened_on is None:
        return "not opened"
    if notice.what == "corrected":
        return "open, corrected" if notice.closed_on is None else "corrected"
    if notice.closed_on is None:
        return "open"
    may_reopen = notice.reason == "hot" or (notice.reason == "cold" and notice.kind == "spring")
    return "paused" if may_reopen else "closed"


def name_season(kind: Kind, language: str) -> str:
    """Return "spring dig season" or "fall dig season"."""
    _ = translations(language).gettext
    return _("spring dig season") if kind == "spring" else _("fall dig season")


def headline(news: BlockNews, label: str, language: str) -> str:
    """Return what is new in one block, called `label`, in one clause that is right alone."""
    _ = translations(language).gettext
    last = news.last
    match news.outcome:
        case "open" if last.what == "opened again":
            text = _("{block}: dig season is open again")
        case "open":
            text = _("{block}: dig season is open")
        case "opening soon":
            text = _("{block}: dig season is likely to open soon")
        case "closing soon":
            text = _("{block}: dig season closes soon")
        case "summed up":
            text = _("{block}: dig season is over for {years}")
        case "paused" if last.reason == "hot":
            text = _("{block}: dig season is closed for now, the soil is too hot")
        case "paused":
            text = _("{block}: dig season is closed for now, the soil is too cold")
        case "closed":
            text = _("{block}: dig season is closed")
        case "probably open":
            text = _("{block}: dig season is probably open (nowcast)")
        case "probably closed":
            text = _("{block}: dig season is probably closed (nowcast)")
        case "not open":
            text = _("{block}: {season} has not opened, the nowcast was wrong")
        case "open, corrected":
            text = _("{block}: dig season is open, its dates are corrected")
        case "not known" if last.opened_on:
            text = _("{block}: not known whether {season} is still open")
        case "not known":
            text = _("{block}: not known whether {season} has opened")
        case "corrected":
            text = _("{block}: the dates of {season} are corrected")
        case "not opened":
            text = _("{block}: {season} did not open after all")
    years = last.summary.years if last.summary else ""
    return text.format(block=label, season=name_season(last.kind, language), years=years)


def name_outcome(outcome: Outcome, where: str, language: str) -> str:
    """Return "open in 2 blocks", where `where` says "2 blocks" or names them."""
    _ = translations(language).gettext
    match outcome:
        case "open":
            text = _("open in {where}")
        case "probably open":
            text = _("probably open in {where}")
        case "probably closed":
            text = _("probably closed in {where}")
        case "not open":
            text = _("not open, unlike the nowcast, in {where}")
        case "open, corrected":
            text = _("open with corrected dates in {where}")
        case "opening soon":
            text = _("likely to open soon in {where}")
        case "closing soon":
            text = _("closing soon in {where}")
        case "summed up":
            text = _("over for the season in {where}")
        case "paused":
            text = _("closed for now in {where}")
        case "closed":
            text = _("closed in {where}")
        case "not known":
            text = _("not known in {where}")
        case "corrected":
            text = _("dates corrected in {where}")
        case "not opened":
            text = _("did not open after all in {where}")
    return text.format(where=where)


def _window(notice: Notice) -> tuple[str, int, Kind]:
    return notice.block_id, notice.season, notice.kind


def _said_before(notice: Notice) -> tuple[date | None, ...]:
    return (notice.told_opened_on, notice.told_closed_on)


def _is_overtaken(notice: Notice, has_come: Collection[tuple[tuple[str, int, Kind], bool]]) -> bool:
    """Return whether a window of this notice has opened that opens soon, or closed likewise."""
    if notice.what == "opening soon":
        return any((_window(notice), is_closed) in has_come for is_closed in (True, False))
    return notice.what == "closing soon" and (_window(notice), True) in has_come


def _in_time(notice: Notice) -> tuple[date, bool, bool]:
    """Sort by when it happened; on one day what closes stands before what opens."""
    happened_on = notice.closed_on or notice.opened_on or notice.told_opened_on or date.min
    if notice.summary:
        happened_on = notice.summary.spans[-1][2]
    return happened_on, notice.closed_on is None, notice.what == "closed"


def tidy(name: str) -> str:
    """Return a name without line breaks and controls."""
    return " ".join("".join(c if c.isprintable() else " " for c in name).split()) or "?"


@lru_cache(10_000)  # a region is sorted by its names again and again
def sort_key(name: str) -> tuple[tuple[str | int, ...], str]:
    """Sort without regard to case and accents, numbers by value; then by the name as it is."""
    letters = (c for c in unicodedata.normalize("NFKD", name) if not unicodedata.combining(c))
    parts = re.split(r"(\d+)", "".join(letters).casefold())
    return tuple(int(part) if part.isdecimal() else part for part in parts), name
