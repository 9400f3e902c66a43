"""The windows of blocks as one calendar to subscribe to: what was, what is, what is likely."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from alerts.card import short_cautions
from alerts.digest import say_of_vines
from alerts.events import Event, name_window
from alerts.expectations import LIKELY, Expectation, tell_expected
from alerts.figures import show_when
from alerts.news import name_season, sort_key, tidy
from alerts.outlook.dates import Outlook
from alerts.rules import Kind
from alerts.season import season_start
from alerts.windows import Span
from alerts.words import translations
from probes.units import Unit


@dataclass(frozen=True)
class BlockWindows:
    """The windows of a block as they are known on the evening of `as_of`.

    south : whether its site lies south of the equator
    spring_days : how long a spring lasts at the most
    """

    block_id: str
    block_name: str
    site_name: str
    as_of: date
    south: bool
    spring_days: int
    spans: Sequence[Span]
    expected: Expectation | None


def find_feed_events(
    blocks: Sequence[BlockWindows], organisation: str, language: str, unit: Unit
) -> Iterator[Event]:
    """Yield an event for each window, from its first opening to its last close or the likely one.

    One that is awaited stands on its likely days once it is more likely than not; its event becomes
    that of the window when that opens, and is the same as that of the mails.
    """
    for one in sorted(blocks, key=lambda one: (sort_key(one.site_name), sort_key(one.block_name))):
        windows: defaultdict[tuple[int, Kind], list[Span]] = defaultdict(list)
        for span in one.spans:
            windows[span.season, span.kind].append(span)
        for spans in windows.values():
            yield _show_window(one, spans, organisation, language, unit)
        outlook = one.expected.outlook if one.expected else None
        if outlook and (outlook.season, outlook.kind) not in windows:
            yield from _show_awaited(one, outlook, organisation, language, unit)


def _show_window(
    one: BlockWindows, spans: Sequence[Span], organisation: str, language: str, unit: Unit
) -> Event:
    _ = translations(language).gettext
    last = spans[-1]
    stop = last.closed_on or _find_stop(one, spans)
    told = [_tell_span(span, one, language) for span in spans]
    if last.closed_on is None:
        told += [*_tell_ahead(one, language, unit), short_cautions(language)]
    else:
        told.append(say_of_vines(language))
    return Event(
        uid=name_window(organisation, one.block_id, last.season, last.kind),
        revision=_count_revision(one, last.season),
        status="CONFIRMED",
        first=spans[0].opened_on,
        stop=max(stop, spans[0].opened_on + timedelta(days=1)),
        summary=_("Dig season in {block}").format(block=tidy(one.block_name)),
        site_name=tidy(one.site_name),
        description=" ".join(told),
    )


def _show_awaited(
    one: BlockWindows, outlook: Outlook, organisation: str, language: str, unit: Unit
) -> Iterator[Event]:
    _ = translations(language).gettext
    opens, closes = outlook.opens, outlook.closes
    if opens is None or opens.p50 is None or closes.by_now >= LIKELY:
        return
    yield Event(
        uid=name_window(organisation, one.block_id, outlook.season, outlook.kind),
        revision=_count_revision(one, outlook.season),
        status="TENTATIVE",
        first=opens.p50,
        stop=closes.p50 if closes.p50 and closes.p50 > opens.p50 else None,
        summary=_("Dig season in {block}, perhaps").format(block=tidy(one.block_name)),
        site_name=tidy(one.site_name),
        description=" ".join([*_tell_ahead(one, language, unit), say_of_vines(language)]),
    )


def _find_stop(one: BlockWindows, spans: Sequence[Span]) -> date:
    """Return the first day on which an open window is likely to be closed."""
    outlook = one.expected.outlook if one.expected else None
    if outlook and outlook.opens is None and outlook.closes.p90:
        return outlook.closes.p90
    if spans[-1].kind == "spring":
        return spans[0].opened_on + timedelta(days=one.spring_days)
    return one.as_of + timedelta(days=1)


def _tell_span(span: Span, one: BlockWindows, language: str) -> str:
    _ = translations(language).gettext
    season = name_season(span.kind, language)
    opened = show_when(span.opened_on, language, one.as_of, span.not_before)
    text = _("{season} opened {when}.").format(season=season, when=opened)
    if span.closed_on:
        closed = show_when(span.closed_on, language, one.as_of, span.closed_not_before)
        text = _("{season} opened {opened} and closed {closed}.").format(
            season=season, opened=opened, closed=closed
        )
    return f"{text[:1].upper()}{text[1:]}"


def _tell_ahead(one: BlockWindows, language: str, unit: Unit) -> list[str]:
    return tell_expected(one.expected, language, unit) if one.expected else []


def _count_revision(one: BlockWindows, season: int) -> int:
    """Return a number that grows with every day on which an event may change."""
    return max((one.as_of - season_start(season, one.south)).days, 0)
