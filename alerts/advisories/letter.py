"""An advisory as a letter: to members, and as a draft to who may release it."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date

from alerts.advisories.figures import Advisory, Band, District, Group, Mean
from alerts.card import cautions
from alerts.digest import Reader, say_of_vines
from alerts.figures import show_day, show_temperature, show_when
from alerts.letter import Entry, Letter, Part
from alerts.news import name_season, tidy
from alerts.words import translations
from probes.units import Unit


@dataclass(frozen=True)
class Note:
    """A word that someone has put on top of an advisory; its paragraphs are lines of the text."""

    text: str
    person: str
    day: date


def compose_advisory(
    advisory: Advisory,
    reader: Reader,
    note: Note | None = None,
    released_by: str | None = None,
    own: Collection[str] = (),
) -> Letter:
    """Return an advisory as a letter to a member.

    Parameters
    ----------
    advisory : Advisory
    reader : Reader
    note : Note, optional
    released_by : str, optional
        Who has released it; None: no one yet.
    own : collection of str
        The ids of the districts that the reader grows in: they stand first.

    Returns
    -------
    Letter
        The answer, the note, a part a district, the heights, and the cautions.
    """
    language, as_of = reader.language, advisory.as_of
    _ = translations(language).gettext
    subject = _("Dig season on {day}: {outcomes}").format(
        day=show_day(as_of, language, as_of), outcomes=tell_outcomes(advisory.region, language)
    )
    source = _("For {reader} by {organisation}, from soil readings up to the end of {day}.")
    source = source.format(
        reader=reader.name,
        organisation=reader.organisation,
        day=show_day(as_of, language, as_of),
    )
    if released_by:
        source += " " + _("Released by {person}.").format(person=tidy(released_by))
    own_blocks = _("How it stands in your own blocks is told in messages of their own.")
    parts = (
        *_tell_note(note, language, as_of),
        *tell_figures(advisory, language, reader.unit, reader.organisation, own),
        Part(paragraphs=(own_blocks, say_of_vines(language))),
        Part(_("Before you dig"), items=tuple(cautions(language))),
    )
    return Letter(subject, language, parts, source)


def compose_draft(
    advisory: Advisory, number: int, reader: Reader, note: Note | None = None
) -> Letter:
    """Return a letter to a coordinator: an advisory waits for someone to release it."""
    language = reader.language
    _ = translations(language).gettext
    subject = _("Advisory {number} waits for review: {outcomes}").format(
        number=number, outcomes=tell_outcomes(advisory.region, language)
    )
    held = _(
        "Nothing of it goes to members before someone releases it. Readings up to the end of {day}:"
    ).format(day=show_day(advisory.as_of, language, advisory.as_of))
    command = "digseason advisory {} {}"
    steps = (
        _("Read it as members will: {command}").format(command=command.format("show", number)),
        _("Put a word of yours on top: {command}").format(
            command=command.format("note", f'{number} "..." --by ...')
        ),
        _("Release it to the members: {command}").format(
            command=command.format("release", f"{number} --by ...")
        ),
        _("Or drop it: {command}").format(
            command=command.format("drop", f"{number} --by ... --why ...")
        ),
    )
    source = _("For {reader} by {organisation}.").format(
        reader=reader.name, organisation=reader.organisation
    )
    parts = (
        Part(paragraphs=(held,)),
        *_tell_note(note, language, advisory.as_of),
        *tell_figures(advisory, language, reader.unit, reader.organisation),
        Part(_("What to do"), items=steps),
    )
    return Letter(subject, language, parts, source)


def tell_outcomes(group: Group, language: str) -> str:
    """Return "open in 3 of 8 blocks, opening soon in 2"."""
    words = translations(language)
    total = group.blocks
    if group.open:
        text = words.ngettext(
            "open in {count} of {total} block", "open in {count} of {total} blocks", total
        )
    else:
        text = words.ngettext(
            "open in none of {total} block", "open in none of {total} blocks", total
        )
    told = text.format(count=group.open, total=total)
    if group.opening:
        soon = words.gettext("opening soon in {count}").format(count=group.opening)
        return f"{told}, {soon}"
    return told


def tell_figures(
    advisory: Advisory,
    language: str,
    unit: Unit,
    organisation: str,
    own: Collection[str] = (),
) -> Iterator[Part]:
    """Yield a part for each district, those in `own` first, and one for the heights."""
    for one in order_districts(advisory, own):
        title = name_district(one, advisory, organisation, language)
        yield Part(title, paragraphs=tuple(_tell(one.group, language, unit, advisory.as_of)))
    if advisory.bands:
        title = translations(language).gettext("By height above the sea")
        entries = (_tell_band(band, language, unit, advisory.as_of) for band in advisory.bands)
        yield Part(title, entries=tuple(entries))


def order_districts(advisory: Advisory, own: Collection[str]) -> list[District]:
    """Return the districts, those in `own` first."""
    return sorted(advisory.districts, key=lambda one: one.id not in own)


def name_district(district: District, advisory: Advisory, organisation: str, language: str) -> str:
    """Return the name of a district; of blocks in none "Elsewhere", or the organisation's."""
    if district.id:
        return tidy(district.name)
    elsewhere = translations(language).gettext("Elsewhere")
    return elsewhere if len(advisory.districts) > 1 else tidy(organisation)


def _tell_note(note: Note | None, language: str, as_of: date) -> Iterator[Part]:
    if note:
        title = translations(language).gettext("From {person}, {day}")
        title = title.format(person=tidy(note.person), day=show_day(note.day, language, as_of))
        lines = (tidy(line) for line in note.text.splitlines() if line.strip())
        yield Part(title, paragraphs=tuple(lines))


def _tell_band(band: Band, language: str, unit: Unit, as_of: date) -> Entry:
    told = " ".join(_tell(band.group, language, unit, as_of))
    return Entry(f"{band.from_m}-{band.to_m} m", (told,))


def _tell(group: Group, language: str, unit: Unit, as_of: date) -> Iterator[str]:
    """Yield the counts of some blocks, and what is to come."""
    words = translations(language)
    blocks = words.ngettext("{count} block", "{count} blocks", group.blocks)
    counts = ", ".join(_tell_counts(group, language))
    text = f"{blocks.format(count=group.blocks)}: {counts}."
    if group.coolest and group.warmest:
        text += " " + _tell_means(group.coolest, group.warmest, language, unit)
    yield text
    told = list(tell_dates(group, language, as_of))
    if told:
        yield " ".join(told)


def _tell_counts(group: Group, language: str) -> Iterator[str]:
    ngettext = translations(language).ngettext
    for count, text in (
        (group.open, ngettext("{count} open", "{count} open", group.open)),
        (group.opening, ngettext("{count} opening soon", "{count} opening soon", group.opening)),
        (group.waiting, ngettext("{count} not open yet", "{count} not open yet", group.waiting)),
        (group.resting, ngettext("{count} resting", "{count} resting", group.resting)),
        (
            group.over,
            ngettext(
                "{count} over until next season", "{count} over until next season", group.over
            ),
        ),
        (
            group.not_known,
            ngettext(
                "{count} not known for lack of readings",
                "{count} not known for lack of readings",
                group.not_known,
            ),
        ),
    ):
        if count:
            yield text.format(count=count)


def _tell_means(coolest: Mean, warmest: Mean, language: str, unit: Unit) -> str:
    _ = translations(language).gettext
    low, high = (
        show_temperature(one.mean_c, unit, language, one.limit_c) for one in (coolest, warmest)
    )
    if low == high:
        return _("Root zone {temperature}, as a mean of the last days.").format(temperature=low)
    return _("Root zone from {low} to {high}, as a mean of the last days.").format(
        low=low, high=high
    )


def tell_dates(group: Group, language: str, as_of: date) -> Iterator[str]:
    """Yield since when some blocks are open, and what is to come, as sentences."""
    words = translations(language)
    _ = words.gettext

    def when(days: tuple[date, date]) -> str:
        return show_when(days[1], language, as_of, days[0])

    if group.opened and group.closes_kind:
        season = name_season(group.closes_kind, language)
        text = _("{season} opened {when} where it is open.")
        told = text.format(season=season, when=when(group.opened))
        yield told[:1].upper() + told[1:]
        if group.closes:
            yield _("There it is likely to close {when}.").format(when=when(group.closes))
    if not group.opens_kind:
        return
    season = name_season(group.opens_kind, language)
    if group.opens:
        text = _("Where it is not open, {season} is likely to open {when}.")
        yield text.format(season=season, when=when(group.opens))
    if group.may_not_open:
        text = words.ngettext(
            "In {count} block {season} may not open at all.",
            "In {count} blocks {season} may not open at all.",
            group.may_not_open,
        )
        yield text.format(count=group.may_not_open, season=season)
