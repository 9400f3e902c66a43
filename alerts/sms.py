"""The SMS: the notices of one reader in exactly one part, the most useful first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from itertools import groupby, product
from operator import itemgetter
from types import MappingProxyType

from alerts.bounds import DateRange
from alerts.card import short_cautions
from alerts.digest import Reader
from alerts.figures import (
    show_day,
    show_depths,
    show_error,
    show_neighbours,
    show_sources,
    show_temperature,
    show_when,
)
from alerts.gsm import ONE_PART, count_septets, shorten, to_gsm7
from alerts.news import (
    OUTCOMES,
    BlockNews,
    Rank,
    gather_news,
    headline,
    name_outcome,
    name_season,
)
from alerts.notices import Notice
from alerts.silence_news import SilenceNotice
from alerts.silence_sms import compose_silence_sms, mention_silences
from alerts.windows import Kind
from alerts.words import translations

_NAME_LENGTHS = (40, 20)
_SHORTEST_NAME = 12
"""Septets that a block or site name may take, tried in turn."""
_MOST_NAMES = ONE_PART // 3
"""A name and its comma take three septets or more."""


def compose_sms(
    notices: Sequence[Notice],
    reader: Reader,
    as_of: date,
    silences: Sequence[SilenceNotice] = (),
    ranks: Mapping[str, Rank] = MappingProxyType({}),
) -> str:
    """Return the SMS of these notices for one reader: GSM 7-bit alphabet, one part.

    Parameters
    ----------
    notices : sequence of Notice
        In any order.
    reader : Reader
    as_of : date
        The last day of readings it rests on.
    silences : sequence of SilenceNotice
        In any order; beside notices they are mentioned in a few words.
    ranks : mapping
        Where blocks stand in the order in which to go to them, by the block's id.

    Names are shortened, and details and then blocks left to a "+2 more", until the text and the
    cautions fit.

    Raises
    ------
    ValueError
        When there is neither a notice nor a silence.
    """
    if silences and not notices:
        return compose_silence_sms(silences, reader.language, as_of)
    news = gather_news(notices, ranks)
    cautions = short_cautions(reader.language)
    mention = [f"{mention_silences(silences, reader.language)} {cautions}"] if silences else []
    texts = (
        to_gsm7(f"{wording} {end}")
        for end in [*mention, cautions]
        for wording in _tell(news, reader, as_of)
    )
    return next(text for text in texts if count_septets(text) <= ONE_PART)


def _tell(news: Sequence[BlockNews], reader: Reader, as_of: date) -> Iterator[str]:
    """Yield wordings of the news, the fullest first."""
    if len(news) == 1:
        return _tell_one(news[0], reader, as_of)
    return _tell_many(news, reader.language, as_of)


def _tell_one(news: BlockNews, reader: Reader, as_of: date) -> Iterator[str]:
    """Yield wordings of one block's news, the fullest first; that it is estimated stays in all."""
    details = _details(news.last, reader, as_of)
    estimates = list(_tell_estimates(news.last, reader))
    counts = range(len(details), -1, -1)
    for count, length in [*product(counts, _NAME_LENGTHS), (0, _SHORTEST_NAME)]:
        told = headline(news, _label(news, length, with_site=True), reader.language)
        yield " ".join([f"{told}.", *estimates, *details[:count]])
    told = headline(news, _label(news, _SHORTEST_NAME, with_site=False), reader.language)
    yield " ".join([f"{told}.", *estimates])


def _tell_estimates(notice: Notice, reader: Reader) -> Iterator[str]:
    """Say that a temperature or a date was not measured."""
    language = reader.language
    _ = translations(language).gettext
    if nowcast := notice.nowcast:
        if nowcast.last_day:
            day = show_day(nowcast.last_day, language, nowcast.issued_on, short=True)
            yield _("Last readings {day}.").format(day=day)
        else:
            yield _("No readings this season.")
    elif notice.borrowed and notice.borrowed.error_c is not None:
        error = show_error(notice.borrowed.error_c, reader.unit, language).replace(" °", "")
        yield _("Borrowed from neighbours, +-{error}.").format(error=error)
    elif notice.carried:
        depths = show_depths(notice.basis_cm[-1:], language)
        yield _("Estimated from {depths}.").format(depths=depths)
    elif notice.estimated:
        yield _("Date estimated.")


def _details(notice: Notice, reader: Reader, as_of: date) -> list[str]:
    language = reader.language
    _ = translations(language).gettext
    details: list[str] = []
    if notice.nowcast:
        since = show_day(notice.nowcast.since, language, as_of, short=True)
        return [_("Since about {day}.").format(day=since)]
    if notice.summary:
        return [_sum_up(span, language, as_of) for span in notice.summary.spans]
    if notice.what == "opening soon" and notice.opened_range:
        first, last = notice.opened_range.earliest, notice.opened_range.latest
        when = show_when(last or first, language, as_of, first if last else None, short=True)
        details.append(_("Likely {when}.").format(when=when))
    if notice.not_known:
        details.append(_("Readings gone: look or wait."))
    if notice.by_hand and notice.by_hand.error_c is not None:
        error = show_error(notice.by_hand.error_c, reader.unit, language)
        text = _("From hand readings, +-{error}.")
        details.append(text.format(error=error.replace(" °", "")))
    if notice.closed_on:
        first, last = _days(notice.closed_on, notice.closed_not_before, notice.closed_range)
        when = show_when(last, language, as_of, first, short=True)
        details.append(_("Closed {when}.").format(when=when))
    elif notice.opened_on and notice.what != "closing soon":
        first, last = _days(notice.opened_on, notice.not_before, notice.opened_range)
        when = show_when(last, language, as_of, first, short=True)
        details.append(_("Opened {when}.").format(when=when))
    if notice.ends_by:
        day = show_day(notice.ends_by, language, as_of, short=True)
        details.append(_("Over by {day}.").format(day=day))
    if notice.mean_c is not None:
        shown = show_temperature(notice.mean_c, reader.unit, language, notice.limit_c)
        details.append(_("Root zone {temperature}.").format(temperature=shown.replace(" °", "")))
    if notice.stations:
        stations = show_sources(notice.stations, language)
        details.append(_("From {stations}.").format(stations=stations))
    if notice.borrowed:
        neighbours = show_neighbours(notice.borrowed.neighbours, language)
        details.append(_("From {stations}.").format(stations=neighbours))
    return details


def _sum_up(span: tuple[Kind, date, date], language: str, as_of: date) -> str:
    """Return "Spring dig season 4 Oct - 14 Nov."."""
    kind, opened_on, closed_on = span
    first = show_day(opened_on, language, as_of, short=True)
    last = show_day(closed_on - timedelta(days=1), language, as_of, short=True)
    text = f"{name_season(kind, language)} {first} - {last}."
    return text[:1].upper() + text[1:]


def _days(on: date, not_before: date | None, days: DateRange | None) -> tuple[date, date]:
    """Return between which days it happened: the errors too, where they are more than a few."""
    first = not_before or on
    if days is None or not days.is_wide(on, first):
        return first, on
    return days.earliest, days.latest or on


def _tell_many(news: Sequence[BlockNews], language: str, as_of: date) -> Iterator[str]:
    """Yield wordings of several blocks' news, the fullest first."""
    _ = translations(language).gettext
    named = Counter(one.block_name for one in news)
    ranked = sorted(news, key=lambda one: OUTCOMES.index(one.outcome))[:_MOST_NAMES]
    labelled = [
        [
            (one.outcome, _mark(_label(one, length, named[one.block_name] > 1), one.last, language))
            for one in ranked
        ]
        for length in (*_NAME_LENGTHS, _SHORTEST_NAME)
    ]
    fullest = [
        (outcome, _add_end(label, one.last, language, as_of))
        for one, (outcome, label) in zip(ranked, labelled[0], strict=True)
    ]
    for count, labels in product(range(len(ranked), 0, -1), [fullest, *labelled]):
        clauses = [
            name_outcome(outcome, ", ".join(label for _o, label in group), language)
            for outcome, group in groupby(labels[:count], key=itemgetter(0))
        ]
        text = _("Dig season: {outcomes}").format(outcomes="; ".join(clauses))
        left = len(news) - count
        more = _("; +{count} more").format(count=left) if left else ""
        yield f"{text}{more}."


def _add_end(label: str, notice: Notice, language: str, as_of: date) -> str:
    if notice.ends_by is None:
        return label
    _ = translations(language).gettext
    day = show_day(notice.ends_by, language, as_of, short=True)
    return _("{block} (over by {day})").format(block=label, day=day)


def _mark(label: str, notice: Notice, language: str) -> str:
    """Mark a block whose temperature or date was not measured."""
    _ = translations(language).gettext
    if notice.borrowed:
        return _("{block} (borrowed)").format(block=label)
    if notice.carried or notice.estimated:
        return _("{block} (estimated)").format(block=label)
    return label


def _label(news: BlockNews, length: int, with_site: bool) -> str:
    block = shorten(news.block_name, length)
    return f"{block} ({shorten(news.site_name, length)})" if with_site else block
