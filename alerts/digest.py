"""The digest: the notices that one reader gets at once, as a letter."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from types import MappingProxyType

from alerts.card import cautions, scouting_card
from alerts.events import find_events
from alerts.expectations import Expectation, tell_expected
from alerts.figures import show_day
from alerts.letter import Entry, Letter, Part, Picture
from alerts.news import (
    NOTHING_KNOWN,
    OUTCOMES,
    BlockNews,
    Outcome,
    Rank,
    gather_news,
    headline,
    name_outcome,
    tidy,
)
from alerts.notices import Notice
from alerts.ribbon import Ribbon, explain_ribbon, explain_shades
from alerts.sentences import tell
from alerts.silence_news import (
    SilenceNotice,
    headline_silence,
    name_source,
    order_silences,
    sum_up_silences,
)
from alerts.silence_sentences import tell_silence
from alerts.words import translations
from probes.units import Unit

MOST_PICTURES = 12


@dataclass(frozen=True)
class Reader:
    """Who reads a digest, and on whose behalf it is written."""

    name: str
    language: str
    unit: Unit
    organisation: str


def compose_digest(
    notices: Sequence[Notice],
    reader: Reader,
    as_of: date,
    silences: Sequence[SilenceNotice] = (),
    expected: Mapping[str, Expectation] = MappingProxyType({}),
    ribbons: Mapping[str, Ribbon] = MappingProxyType({}),
    pictures: Mapping[str, Picture] = MappingProxyType({}),
    ranks: Mapping[str, Rank] = MappingProxyType({}),
) -> Letter:
    """Return the digest of these notices for one reader.

    Parameters
    ----------
    notices : sequence of Notice
        In any order.
    reader : Reader
    as_of : date
        The last day of readings it rests on.
    silences : sequence of SilenceNotice
        In any order.
    expected : mapping
        What is to come in some of the blocks, by the block's id.
    ribbons : mapping
        The season of some of the blocks, by the block's id.
    pictures : mapping
        The charts of some of the blocks, by the block's id.
    ranks : mapping
        Where blocks stand in the order in which to go to them, by the block's id.

    Returns
    -------
    Letter
        The answer, the blocks by site, loggers and stations, what to do where a block is or may be
        open, and the cautions; without a block none of digging.

    Raises
    ------
    ValueError
        When there is neither a notice nor a silence.
    """
    language = reader.language
    _ = translations(language).gettext
    news = gather_news(notices, ranks) if notices or not silences else []
    subject = _subject(news, language) if news else _subject_of_silences(silences, language, as_of)
    source = _("For {reader} by {organisation}.")
    if news:
        source = _("For {reader} by {organisation}, from soil readings up to the end of {day}.")
    source = source.format(
        reader=reader.name,
        organisation=reader.organisation,
        day=show_day(as_of, language, as_of),
    )
    told = {
        notice: tell(notice, language, reader.unit, as_of) for one in news for notice in one.notices
    }
    parts = (
        *_tell_sites(news, reader, told, expected, ribbons, pictures),
        *_tell_of_order(news, ranks, language),
        *_tell_of_vines(news, language),
        *_tell_silences(silences, language, as_of),
        *_tell_what_to_do(news, language),
    )
    events = find_events(news, reader.organisation, language, expected, told)
    return Letter(subject, language, parts, source, events=tuple(events))


def choose_pictured(notices: Sequence[Notice]) -> list[str]:
    """Return the ids of the blocks whose charts a digest shows: of many, the most useful."""
    news = sorted(gather_news(notices), key=lambda one: OUTCOMES.index(one.outcome))
    return [one.last.block_id for one in news[:MOST_PICTURES]]


def say_of_vines(language: str) -> str:
    """Return what every message says of vines where it tells of a window that is not open."""
    return translations(language).gettext(
        "Where dig season is not open, that says nothing about a vine: phylloxera may be there "
        "all the same."
    )


def _tell_sites(
    news: Sequence[BlockNews],
    reader: Reader,
    told: Mapping[Notice, str],
    expected: Mapping[str, Expectation],
    ribbons: Mapping[str, Ribbon],
    pictures: Mapping[str, Picture],
) -> Iterator[Part]:
    shown: list[Ribbon] = []
    for site_name, of_site in groupby(news, key=lambda one: one.site_name):
        entries: list[Entry] = []
        for one in of_site:
            block_id = one.last.block_id
            paragraphs = [told[notice] for notice in one.notices]
            paragraphs += _tell_to_come(expected.get(block_id), one.last, paragraphs[-1], reader)
            line, ribbon = "", ribbons.get(block_id)
            if ribbon:
                line = ribbon.show(reader.language)
                shown.append(ribbon)
            picture = pictures.get(block_id)
            entries.append(Entry(one.block_name, tuple(paragraphs), line, picture))
        yield Part(site_name, entries=tuple(entries))
    if shown:
        legend = [explain_ribbon(reader.language)]
        if any(ribbon.is_shaded for ribbon in shown):
            legend.append(explain_shades(reader.language))
        yield Part(paragraphs=(". ".join(legend) + ".",))


def _tell_of_order(
    news: Sequence[BlockNews], ranks: Mapping[str, Rank], language: str
) -> Iterator[Part]:
    known = {ranks.get(one.last.block_id, NOTHING_KNOWN) for one in news} - {NOTHING_KNOWN}
    if len(news) > 1 and known:
        text = translations(language).gettext(
            "Blocks stand in the order in which to go to them, site by site: those where digging "
            "has not found phylloxera before those that nobody has looked at, then suspected "
            "ones, last those where it was found."
        )
        yield Part(paragraphs=(text,))


def _tell_of_vines(news: Sequence[BlockNews], language: str) -> Iterator[Part]:
    if any(not one.is_open for one in news):
        yield Part(paragraphs=(say_of_vines(language),))


def _tell_silences(silences: Sequence[SilenceNotice], language: str, as_of: date) -> Iterator[Part]:
    if silences:
        title = translations(language).gettext("Loggers and stations")
        entries = tuple(_tell_source(one, language, as_of) for one in order_silences(silences))
        yield Part(title, entries=entries)


def _tell_what_to_do(news: Sequence[BlockNews], language: str) -> Iterator[Part]:
    _ = translations(language).gettext
    if any(one.is_open or one.outcome == "not known" for one in news):
        yield Part(_("What to do now"), items=tuple(scouting_card(language)))
    if news:
        yield Part(_("Before you dig"), items=tuple(cautions(language)))


def _subject(news: Sequence[BlockNews], language: str) -> str:
    words = translations(language)
    if len(news) == 1:
        return headline(news[0], news[0].block_name, language)
    if all(one.outcome == "open" for one in news):
        text = words.ngettext(
            "Dig season is open in {count} block", "Dig season is open in {count} blocks", len(news)
        )
        return text.format(count=len(news))
    clauses: list[str] = []
    for outcome, count in _count(news):
        blocks = words.ngettext("{count} block", "{count} blocks", count).format(count=count)
        clauses.append(name_outcome(outcome, str(count) if clauses else blocks, language))
    return words.gettext("Dig season: {outcomes}").format(outcomes=", ".join(clauses))


def _subject_of_silences(silences: Sequence[SilenceNotice], language: str, as_of: date) -> str:
    if len(silences) > 1:
        return sum_up_silences(silences, language)
    (one,) = silences
    return headline_silence(one, name_source(one, language), language, as_of)


def _count(news: Sequence[BlockNews]) -> list[tuple[Outcome, int]]:
    counts = Counter(one.outcome for one in news)
    return [(outcome, counts[outcome]) for outcome in OUTCOMES if counts[outcome]]


def _tell_to_come(
    expected: Expectation | None, last: Notice, told: str, reader: Reader
) -> list[str]:
    """Return what is to come after the last notice of a block and was not told with it."""
    if expected is None or expected.is_settled:
        return []
    is_told = last.nowcast is not None
    sentences = tell_expected(expected, reader.language, reader.unit, with_nowcast=not is_told)
    sentences = [one for one in sentences if one not in told]
    return [" ".join(sentences)] if sentences else []


def _tell_source(one: SilenceNotice, language: str, as_of: date) -> Entry:
    label = f"{name_source(one, language)} ({tidy(one.site_name)})"
    return Entry(label, (tell_silence(one, language, as_of),))
