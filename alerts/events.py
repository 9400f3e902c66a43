"""The windows of a digest as all-day events for its reader's calendar."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal
from uuid import NAMESPACE_DNS, uuid5

from alerts.expectations import Expectation
from alerts.news import BlockNews
from alerts.notices import ASIDE, Notice
from alerts.windows import Kind
from alerts.words import translations

Status = Literal["CONFIRMED", "TENTATIVE", "CANCELLED"]

_OURS = uuid5(NAMESPACE_DNS, "digseason.invalid")


@dataclass(frozen=True)
class Event:
    """A window of a block in a calendar.

    uid : the same whatever becomes of the window
    revision : how often the window has been told before
    first : its first day
    stop : the first day after it; None: not known, it stands on its first day
    """

    uid: str
    revision: int
    status: Status
    first: date
    stop: date | None
    summary: str
    site_name: str
    description: str


def find_events(
    news: Sequence[BlockNews],
    organisation: str,
    language: str,
    expected: Mapping[str, Expectation],
    describe: Mapping[Notice, str],
) -> Iterator[Event]:
    """Yield an event for each window that there is news of, as it stands after the last notice.

    Of one that may have closed unseen there is none: the event that people have still holds.
    """
    _ = translations(language).gettext
    for one in news:
        windows = {
            (notice.season, notice.kind): notice
            for notice in one.notices
            if notice.what not in ASIDE
        }
        for notice in windows.values():
            first = notice.opened_on or notice.told_opened_on
            if first is None:
                continue
            status = _find_status(notice)
            summary = _("Dig season in {block}")
            if status == "TENTATIVE":
                summary = _("Dig season in {block}, perhaps")
            yield Event(
                uid=name_window(organisation, notice.block_id, notice.season, notice.kind),
                revision=notice.revision,
                status=status,
                first=first,
                stop=_find_stop(notice, first, expected.get(notice.block_id)),
                summary=summary.format(block=one.block_name),
                site_name=one.site_name,
                description=describe[notice],
            )


def name_window(organisation: str, block_id: str, season: int, kind: Kind) -> str:
    """Return the uid of a window of a block, the same in every calendar."""
    return str(uuid5(_OURS, "\n".join((organisation, block_id, str(season), kind))))


def _find_status(notice: Notice) -> Status:
    if notice.not_known or notice.nowcast:
        return "TENTATIVE"
    return "CONFIRMED" if notice.opened_on else "CANCELLED"


def _find_stop(notice: Notice, first: date, expected: Expectation | None) -> date | None:
    """Return the first day on which it is closed, or is likely to be at the latest."""
    stop = notice.closed_on or notice.ends_by
    if notice.closed_on is None and expected and expected.outlook.kind == notice.kind:
        stop = expected.outlook.closes.p90 or stop
    return stop if stop and stop > first else None
