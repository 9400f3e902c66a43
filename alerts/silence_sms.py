"""Silences in a text of one part: alone, or mentioned beside the news of blocks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from itertools import groupby

from alerts.figures import show_day, show_depths
from alerts.gsm import ONE_PART, count_septets, shorten, to_gsm7
from alerts.news import tidy
from alerts.silence_news import (
    SilenceNotice,
    headline_silence,
    name_source,
    order_silences,
    sum_up_silences,
)
from alerts.words import translations

_NAME_LENGTHS = (40, 20)
_MOST_NAMES = 30


def compose_silence_sms(silences: Sequence[SilenceNotice], language: str, as_of: date) -> str:
    """Return the SMS of silences alone: GSM 7-bit alphabet, one part, no cautions of digging."""
    ordered = order_silences(silences)
    one_or_many = _tell_one(ordered[0], language, as_of)
    wordings = one_or_many if len(ordered) == 1 else _tell_many(ordered, language)
    texts = (to_gsm7(wording) for wording in wordings)
    return next(text for text in texts if count_septets(text) <= ONE_PART)


def mention_silences(silences: Sequence[SilenceNotice], language: str) -> str:
    """Return silences in the few words that the news of blocks leave room for."""
    return f"{sum_up_silences(silences, language)}."


def _tell_one(one: SilenceNotice, language: str, as_of: date) -> Iterator[str]:
    """Yield wordings of one silence, the fullest first."""
    details = _details(one, language, as_of)
    for count in range(len(details), -1, -1):
        for length in _NAME_LENGTHS:
            source = shorten(name_source(one, language), length)
            label = f"{source} ({shorten(one.site_name, length)})"
            told = headline_silence(one, label, language, as_of)
            yield " ".join([f"{told}.", *details[:count]])


def _details(one: SilenceNotice, language: str, as_of: date) -> list[str]:
    _ = translations(language).gettext
    details: list[str] = []
    match one.what:
        case _ if one.is_lent:
            pass
        case "stopped" if one.depth_cm is not None:
            details.append(_("Look at its plug and cable."))
        case "stopped" if not one.is_station:
            details.append(_("Look at battery, cables, SIM card."))
        case "due":
            day = show_day(one.last_on, language, as_of, short=True)
            details.append(_("Last reading {day}.").format(day=day))
    if one.block_names and one.what != "returned":
        blocks = ", ".join(one.block_names)
        details.append(_("Unseen meanwhile: {blocks}.").format(blocks=blocks))
    if one.borrower_names and one.what != "returned":
        blocks = ", ".join(one.borrower_names)
        details.append(_("Borrowed from it: {blocks}.").format(blocks=blocks))
    return details


def _tell_many(ordered: Sequence[SilenceNotice], language: str) -> Iterator[str]:
    """Yield wordings of several silences, the fullest first."""
    _ = translations(language).gettext
    for count in range(min(len(ordered), _MOST_NAMES), 0, -1):
        groups = groupby(ordered[:count], key=lambda one: one.what)
        clauses = [_name_turn(turn, list(of_turn), language) for turn, of_turn in groups]
        text = _("Readings: {outcomes}").format(outcomes="; ".join(clauses))
        left = len(ordered) - count
        more = _("; +{count} more").format(count=left) if left else ""
        yield f"{text}{more}."


def _short_name(one: SilenceNotice, language: str) -> str:
    """Return "DT-2 60 cm"."""
    depth = [] if one.depth_cm is None else [show_depths([one.depth_cm], language)]
    return " ".join([tidy(one.logger_id), *depth])


def _name_turn(turn: str, silences: Sequence[SilenceNotice], language: str) -> str:
    _ = translations(language).gettext
    names = ", ".join(shorten(_short_name(one, language), _NAME_LENGTHS[-1]) for one in silences)
    match turn:
        case "stopped":
            text = _("stopped at {names}")
        case "due":
            text = _("download due at {names}")
        case _:
            text = _("back at {names}")
    return text.format(names=names)
