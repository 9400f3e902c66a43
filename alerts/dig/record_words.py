"""What a dig showed, in words, and what follows from it for who has dug."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from enum import StrEnum

from alerts.dig.records import DigRecord, Insects, Outcome, Roots, Specimen, Swellings
from alerts.words import translations


def word_choices(language: str) -> Mapping[type[StrEnum], Mapping[StrEnum, str]]:
    """Return a phrase for each word of a record, and for what it comes to; in their order."""
    _ = translations(language).gettext
    return {
        Roots: {
            Roots.FINE: _("live fine roots"),
            Roots.COARSE: _("live roots, none of them fine"),
            Roots.NONE: _("no live roots"),
        },
        Swellings: {
            Swellings.NONE: _("no swellings"),
            Swellings.PALE: _("pale swellings"),
            Swellings.DARK: _("dark swellings"),
            Swellings.BOTH: _("pale and dark swellings"),
        },
        Insects: {
            Insects.NONE: _("no insects"),
            Insects.FEW: _("up to 10 insects"),
            Insects.SOME: _("up to 100 insects"),
            Insects.MANY: _("more than 100 insects"),
        },
        Specimen: {
            Specimen.NOT_TAKEN: _("no specimen taken"),
            Specimen.SENT: _("specimen sent to a specialist"),
            Specimen.CONFIRMED: _("specimen confirmed as phylloxera"),
            Specimen.ANOTHER: _("specimen was something else"),
        },
        Outcome: {
            Outcome.FOUND: _("phylloxera found"),
            Outcome.SUSPECTED: _("phylloxera suspected"),
            Outcome.NOT_FOUND: _("not found"),
            Outcome.NO_LIVE_ROOTS: _("no live roots"),
        },
    }


def word(choice: StrEnum, language: str) -> str:
    """Return a word of a record as a phrase."""
    return word_choices(language)[type(choice)][choice]


def tell_seen(record: DigRecord, language: str) -> str:
    """Return what was seen, as a list of phrases."""
    _ = translations(language).gettext
    seen = [record.roots, record.swellings, record.insects]
    if record.specimen is not Specimen.NOT_TAKEN:
        seen.append(record.specimen)
    phrases = [word(one, language) for one in seen]
    if record.dead_roots:
        phrases.insert(1, _("dead roots"))
    return ", ".join(phrases)


def name_vine(record: DigRecord, language: str) -> str:
    """Return "row 3, vine 12"."""
    _ = translations(language).gettext
    row, vine = record.vine
    return _("row {row}, vine {vine}").format(row=row, vine=vine)


def advise(outcome: Outcome, language: str) -> list[str]:
    """Return what follows for who has dug, a paragraph each."""
    _ = translations(language).gettext
    match outcome:
        case Outcome.FOUND:
            return [_("A specialist has confirmed the specimen."), _tell_rules(language)]
        case Outcome.SUSPECTED:
            return [*_tell_specimen(language), _tell_rules(language)]
        case Outcome.NOT_FOUND:
            return [
                _(
                    "Nothing was seen at this vine. A dig without a find is weak evidence: it can "
                    "take two to five years before an infestation can be found, so plan to dig "
                    "again."
                )
            ]
        case Outcome.NO_LIVE_ROOTS:
            return [
                _(
                    "There were no live roots to feed on, so nothing follows from what was not "
                    "seen. Dig a living vine close by."
                )
            ]


def _tell_specimen(language: str) -> Iterator[str]:
    _ = translations(language).gettext
    yield _(
        "This is a suspicion and no more: only a specialist who has seen a specimen can confirm "
        "it. Ask a diagnostic laboratory or your adviser how one may be moved; then bag some of "
        "these roots with the soil on them, close the bag, write block, row, vine and day on it, "
        "and keep it cool."
    )
    yield _("Mark the vine, and brush and wash the soil off boots and tools before you go on.")


def _tell_rules(language: str) -> str:
    _ = translations(language).gettext
    return _(
        "Local rules may require a report, of a suspicion too, and may forbid moving soil and "
        "plants: ask your plant health authority. Nothing is reported or published from here by "
        "itself."
    )
