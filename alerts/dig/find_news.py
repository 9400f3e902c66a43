"""What was found, told to who may know: as a letter and as an SMS."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Literal

from alerts.dig.record_words import advise, name_vine, tell_seen
from alerts.dig.records import DigRecord, Outcome
from alerts.digest import Reader
from alerts.figures import show_day
from alerts.gsm import ONE_PART, count_septets, shorten, to_gsm7
from alerts.letter import Entry, Letter, Part
from alerts.news import tidy
from alerts.words import translations

What = Literal["suspected", "found", "taken back"]

_GRAVEST: tuple[What, ...] = ("found", "suspected", "taken back")
_NAME_LENGTHS = (40, 20, 12)


@dataclass(frozen=True)
class FindNews:
    """One thing to tell of one vine.

    what : "taken back": who was told hears that the record does not say so any more
    withdrawn : whether the record as a whole counts no more
    """

    what: What
    record: DigRecord
    block_name: str
    site_name: str
    withdrawn: bool = False


def compose_find_news(
    several: Sequence[FindNews], reader: Reader, as_of: date, agreed: date | None, is_grower: bool
) -> Letter:
    """Return what was found as a letter.

    Parameters
    ----------
    several : at least one
    as_of : the day on which it is written
    agreed : since when the coordinator is told too; None: they are not
    is_grower : whether the reader is told as one who grows there, and not as a coordinator
    """
    language = reader.language
    _ = translations(language).gettext
    ordered = _order(several)
    entries = tuple(
        Entry(name, tuple(_tell(one, language, as_of) for one in group))
        for name, group in groupby(
            ordered, key=lambda one: f"{tidy(one.block_name)}, {tidy(one.site_name)}"
        )
    )
    whats = {one.what for one in ordered}
    outcome = Outcome.FOUND if "found" in whats else Outcome.SUSPECTED
    advice = advise(outcome, language) if whats != {"taken back"} else []
    source = _("For {reader} by {organisation}.").format(
        reader=reader.name, organisation=reader.organisation
    )
    parts = (
        Part(entries=entries),
        *([Part(_("What to do"), items=tuple(advice))] if advice else []),
        Part(_("Who is told"), paragraphs=(_tell_who(agreed, is_grower, language, as_of),)),
    )
    return Letter(_title(ordered, language), language, parts, source)


def compose_find_news_sms(several: Sequence[FindNews], language: str) -> str:
    """Return what was found as an SMS: GSM 7-bit alphabet, one part."""
    texts = (to_gsm7(text) for text in _wordings(_order(several), language))
    return next(text for text in texts if count_septets(text) <= ONE_PART)


def _order(several: Sequence[FindNews]) -> list[FindNews]:
    """Return the gravest first, a block's together."""
    worst = {
        key: min(_GRAVEST.index(one.what) for one in several if one.record.block_id == key)
        for key in {one.record.block_id for one in several}
    }
    return sorted(
        several,
        key=lambda one: (
            *(worst[one.record.block_id], one.record.block_id),
            *(_GRAVEST.index(one.what), one.record.vine),
        ),
    )


def _title(ordered: Sequence[FindNews], language: str, length: int | None = None) -> str:
    """Return the gravest in a few words."""
    words = translations(language)
    _ = words.gettext
    first = ordered[0]
    match first.what:
        case "found":
            text = _("Phylloxera confirmed in {block}")
        case "suspected":
            text = _("Phylloxera suspected in {block}, not confirmed")
        case "taken back":
            text = _("Taken back: phylloxera in {block}")
    name = tidy(first.block_name) if length is None else shorten(first.block_name, length)
    return text.format(block=name)


def _tell(one: FindNews, language: str, as_of: date) -> str:
    _ = translations(language).gettext
    match one.what:
        case "found":
            text = _("Confirmed: {vine}, dug on {day} by {person}: {seen}.")
        case "suspected":
            text = _("Suspected: {vine}, dug on {day} by {person}: {seen}.")
        case "taken back":
            text = _("Taken back: {vine}, dug on {day} by {person}; it now says: {seen}.")
            if one.withdrawn:
                text = _("Taken back: {vine}, dug on {day} by {person}; it was withdrawn.")
    record = one.record
    return text.format(
        vine=name_vine(record, language),
        day=show_day(record.dug_on, language, as_of),
        person=tidy(record.person),
        seen=tell_seen(record, language),
    )


def _tell_who(agreed: date | None, is_grower: bool, language: str, as_of: date) -> str:
    _ = translations(language).gettext
    if not is_grower:
        text = _("You are told because the grower agreed to it. Do not pass it on.")
    elif agreed:
        text = _("Those who grow here, and the coordinator, as was agreed on {day}.")
    else:
        text = _(
            "Only those who grow here. The coordinator is not told unless you agree to that, under "
            "Sharing."
        )
    return text.format(day=show_day(agreed, language, as_of) if agreed else "")


def _wordings(ordered: Sequence[FindNews], language: str) -> Iterator[str]:
    """Yield wordings, the fullest first."""
    _ = translations(language).gettext
    first, others = ordered[0], len(ordered) - 1
    more = f" +{others}" if others else ""
    vine = name_vine(first.record, language)
    follow = _("Have a specimen seen by a specialist; local rules may require a report.")
    if first.what == "found":
        follow = _("Local rules may require a report. Work here last.")
    elif first.what == "taken back":
        follow = _("Look at your mail or pages.")
    for length in _NAME_LENGTHS:
        yield f"{_title(ordered, language, length)}: {vine}{more}. {follow}"
