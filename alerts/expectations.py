"""An outlook in words: what is likely, what has probably happened since the last readings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from alerts.figures import (
    show_day,
    show_limit,
    show_neighbours,
    show_temperature,
    show_when,
)
from alerts.news import name_season
from alerts.notices import Neighbour
from alerts.outlook.dates import Chances, Outlook, WarmWeeks
from alerts.rules import WindowRule
from alerts.windows import Kind
from alerts.words import translations
from probes.units import Unit

LIKELY = 0.5


@dataclass(frozen=True)
class Expectation:
    """The outlook of a block by its rule.

    neighbour : the name of the block or station that its yearly curve was borrowed from; None: its
        own
    borrowed : whom the days were borrowed from that the block has not measured itself
    air_issued_on : of the air forecast that the outlook heeds; None: none
    """

    outlook: Outlook
    rule: WindowRule
    neighbour: str | None = None
    neighbour_is_station: bool = False
    borrowed: tuple[Neighbour, ...] = ()
    air_issued_on: date | None = None

    @property
    def is_settled(self) -> bool:
        """Whether a spring is open that hardly any weather closes before its time."""
        closes = self.outlook.closes
        return self.outlook.opens is None and closes.p10 == closes.p90


def tell_expected(
    expected: Expectation, language: str, unit: Unit, *, with_nowcast: bool = True
) -> list[str]:
    """Return what is to come, as sentences.

    A nowcast, of what has probably happened since the last readings, says that it is one, unless
    that has been said; a curve that was borrowed is named.
    """
    outlook = expected.outlook
    opens, closes = outlook.opens, outlook.closes
    sentences: list[str] = []
    if opens and opens.by_now < LIKELY:
        sentences += _tell_next(opens, outlook, language)
    elif closes.by_now >= LIKELY:
        if with_nowcast:
            sentences += _tell_since(closes, outlook, False, language)
    else:
        if opens and with_nowcast:
            sentences += _tell_since(opens, outlook, True, language)
        sentences += _tell_close(closes, outlook, language)
    if outlook.warm_weeks:
        sentences += _tell_warm_weeks(outlook.warm_weeks, expected.rule, language, unit, outlook)
    _ = translations(language).gettext
    if sentences and expected.neighbour:
        text = _("This rests on the yearly course of {block}, shifted by what differs.")
        name = expected.neighbour
        if expected.neighbour_is_station:
            name = _("the station {name}").format(name=name)
        sentences.append(text.format(block=name))
    if sentences and expected.borrowed:
        text = _("Days without readings of its own are borrowed from {neighbours}.")
        sentences.append(text.format(neighbours=show_neighbours(expected.borrowed, language)))
    if sentences and expected.air_issued_on:
        day = show_day(expected.air_issued_on, language, outlook.issued_on)
        sentences.append(_("This is with the air forecast of {day}.").format(day=day))
    return [sentence[:1].upper() + sentence[1:] for sentence in sentences]


def _tell_next(opens: Chances, outlook: Outlook, language: str) -> Iterator[str]:
    _ = translations(language).gettext
    season = name_season(outlook.kind, language)
    if opens.p10 and opens.p50 is None:
        text = _("{season} may open from {day} on, but more likely not at all.")
        yield text.format(season=season, day=show_day(opens.p10, language, outlook.issued_on))
    elif opens.p10 is None:
        text = _(
            "{season} is not likely to open before the season ends: the chance is about 1 in 10 "
            "or less."
        )
        if outlook.warm_weeks is None:
            yield text.format(season=season)
    else:
        ends = opens.p10, opens.p90
        yield tell_likely_opening(outlook.kind, *ends, outlook.issued_on, language)


def tell_likely_opening(
    kind: Kind, first: date, last: date | None, as_of: date, language: str
) -> str:
    """Return when a window is likely to open; `last`: None where that may be never."""
    _ = translations(language).gettext
    season = name_season(kind, language)
    if last is None:
        text = _("{season} is likely to open from {day} on; it may not open at all.")
        return text.format(season=season, day=show_day(first, language, as_of))
    when = show_when(last, language, as_of, first)
    return _("{season} is likely to open {when}.").format(season=season, when=when)


def _tell_since(since: Chances, outlook: Outlook, is_open: bool, language: str) -> Iterator[str]:
    on, issued_on = since.p50 or outlook.issued_on, outlook.issued_on
    yield tell_since(outlook.kind, is_open, on, outlook.last_day, issued_on, language)


def tell_since(
    kind: Kind, is_open: bool, since: date, last_day: date | None, as_of: date, language: str
) -> str:
    """Return what a window has probably done since the last readings, marked as a nowcast."""
    _ = translations(language).gettext
    if is_open:
        text = _("Nowcast: {season} has probably been open since about {day}; {readings}.")
    else:
        text = _("Nowcast: {season} has probably been closed since about {day}; {readings}.")
    readings = _("no readings this season")
    if last_day:
        readings = _("last readings {day}").format(day=show_day(last_day, language, as_of))
    return text.format(
        season=name_season(kind, language),
        day=show_day(since, language, as_of),
        readings=readings,
    )


def _tell_close(closes: Chances, outlook: Outlook, language: str) -> Iterator[str]:
    _ = translations(language).gettext
    if closes.p10 and closes.p90:
        when = show_when(closes.p90, language, outlook.issued_on, closes.p10)
        text = _("{season} is likely to close {when}.")
        yield text.format(season=name_season(outlook.kind, language), when=when)


def _tell_warm_weeks(
    weeks: WarmWeeks, rule: WindowRule, language: str, unit: Unit, outlook: Outlook
) -> Iterator[str]:
    _ = translations(language).gettext
    as_of = outlook.issued_on
    yield _(
        "The chance that the root zone reaches {limit} in spring or summer is under 1 in 10."
    ).format(limit=show_limit(rule.spring_opens_c, unit, language))
    peak = show_day(weeks.peak_on, language, as_of)
    if weeks.first and weeks.last:
        yield _(
            "Its warmest weeks, at {limit} or more, are likely from {first} to {last}, the peak "
            "about {peak}."
        ).format(
            limit=show_limit(rule.cold_below_c, unit, language),
            first=show_day(weeks.first, language, as_of),
            last=show_day(weeks.last, language, as_of),
            peak=peak,
        )
    else:
        yield _("It is likely to be warmest about {peak}, at {temperature}.").format(
            peak=peak, temperature=show_temperature(weeks.peak_c, unit, language)
        )
