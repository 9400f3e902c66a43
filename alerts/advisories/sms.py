"""An advisory as an SMS: GSM 7-bit alphabet, one part, however many districts there are."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from alerts.advisories.figures import Advisory, District
from alerts.advisories.letter import Note, name_district, order_districts, tell_outcomes
from alerts.card import short_cautions
from alerts.digest import Reader
from alerts.figures import show_day
from alerts.gsm import ONE_PART, count_septets, shorten, to_gsm7
from alerts.words import translations

_LENGTHS = ((40, 40), (20, 24), (12, 24), (12, 12))
"""Septets that the name of a district and of the organisation may take, tried in turn."""
_MOST_DISTRICTS = ONE_PART // 16
"""A district, its counts and the semicolon take that or more."""


def compose_advisory_sms(
    advisory: Advisory,
    reader: Reader,
    note: Note | None = None,
    own: Collection[str] = (),
) -> str:
    """Return an advisory as an SMS for one reader, their own districts first.

    A note stands in it where it fits beside every district.
    """
    cautions = short_cautions(reader.language)
    districts = order_districts(advisory, own)
    plain = " ".join(note.text.split()) if note else ""
    noted = [f"{text} {plain} {cautions}" for text in _tell_all(advisory, districts, reader)]
    texts = (
        to_gsm7(text)
        for text in (
            *(noted if plain else ()),
            *(f"{text} {cautions}" for text in _tell_fewer(advisory, districts, reader)),
        )
    )
    return next(text for text in texts if count_septets(text) <= ONE_PART)


def holds_note(text: str, note: Note) -> bool:
    """Whether an SMS had room for a note."""
    return to_gsm7(" ".join(note.text.split())) in text


def compose_draft_sms(advisory: Advisory, number: int, language: str) -> str:
    """Return that an advisory waits as an SMS to a coordinator."""
    _ = translations(language).gettext
    text = _("Advisory {number} waits for review: {outcomes}. It is sent once you release it.")
    outcomes = tell_outcomes(advisory.region, language)
    return to_gsm7(text.format(number=number, outcomes=outcomes))


def _tell_all(advisory: Advisory, districts: list[District], reader: Reader) -> Iterator[str]:
    if len(districts) <= _MOST_DISTRICTS:
        for lengths in _LENGTHS:
            yield _tell(advisory, districts, reader, lengths, 0)


def _tell_fewer(advisory: Advisory, districts: list[District], reader: Reader) -> Iterator[str]:
    for count in range(min(len(districts), _MOST_DISTRICTS), 0, -1):
        for lengths in _LENGTHS:
            yield _tell(advisory, districts[:count], reader, lengths, len(districts) - count)


def _tell(
    advisory: Advisory,
    districts: list[District],
    reader: Reader,
    lengths: tuple[int, int],
    left: int,
) -> str:
    language = reader.language
    of_district, of_organisation = lengths
    _ = translations(language).gettext
    more = _("; +{count} more").format(count=left) if left else ""
    told = "; ".join(_tell_district(one, advisory, reader, of_district) for one in districts)
    return _("{organisation}, dig season {day}: {districts}.").format(
        organisation=shorten(reader.organisation, of_organisation),
        day=show_day(advisory.as_of, language, advisory.as_of, short=True),
        districts=f"{told}{more}",
    )


def _tell_district(one: District, advisory: Advisory, reader: Reader, length: int) -> str:
    language, group = reader.language, one.group
    _ = translations(language).gettext
    text = _("{district} {open} of {total} open")
    if group.opening:
        text = _("{district} {open} of {total} open, {soon} soon")
    return text.format(
        district=shorten(name_district(one, advisory, reader.organisation, language), length),
        open=group.open,
        total=group.blocks,
        soon=group.opening,
    )
