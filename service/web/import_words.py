"""What an import came to, in the words of its reader."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from typing import Protocol

from babel.numbers import format_decimal

from alerts.figures import locale_of, show_day, show_list
from alerts.words import translations
from service.intake.retelling import Retold


class Counts(Protocol):
    """What became of the readings of a delivery."""

    @property
    def inserted(self) -> int:
        """New ones."""
        ...

    @property
    def identical(self) -> int:
        """Those that are kept already."""
        ...

    @property
    def conflicting(self) -> int:
        """Those of which another value is kept."""
        ...

    @property
    def rejected(self) -> int:
        """Those that were not read."""
        ...

    @property
    def missing(self) -> int:
        """Those that the file itself says are missing."""
        ...


def tell_counts(of: Counts, language: str) -> str:
    """Return "Readings: 8,760 new and 3 rejected.", or that there are none."""
    words = translations(language)
    return _count(
        [
            (of.inserted, words.ngettext("{count} new", "{count} new", of.inserted)),
            (
                of.identical,
                words.ngettext("{count} known already", "{count} known already", of.identical),
            ),
            (
                of.conflicting,
                words.ngettext("{count} conflicting", "{count} conflicting", of.conflicting),
            ),
            (of.rejected, words.ngettext("{count} rejected", "{count} rejected", of.rejected)),
            (of.missing, words.ngettext("{count} missing", "{count} missing", of.missing)),
        ],
        language,
    )


def tell_span(first: datetime | None, last: datetime | None, language: str, as_of: date) -> str:
    """Return "From 1 November 2024 to 31 October." of days in UTC; empty where there is no row."""
    if first is None or last is None:
        return ""
    begin, end = (show_day(one.date(), language, as_of) for one in (first, last))
    return translations(language).gettext("From {first} to {last}.").format(first=begin, last=end)


def tell_changes(retold: Retold, language: str) -> Iterator[str]:
    """Yield what taking back has made of the readings, and what follows."""
    words = translations(language)
    if not retold:
        yield words.gettext("No reading has changed.")
        return
    yield _count(
        [
            (retold.new, words.ngettext("{count} came back", "{count} came back", retold.new)),
            (retold.gone, words.ngettext("{count} went", "{count} went", retold.gone)),
            (retold.changed, words.ngettext("{count} changed", "{count} changed", retold.changed)),
        ],
        language,
    )
    yield words.gettext("The next round corrects what was told.")


def _count(counts: list[tuple[int, str]], language: str) -> str:
    locale, words = locale_of(language), translations(language)
    parts = [
        text.format(count=format_decimal(count, "#,##0", locale)) for count, text in counts if count
    ]
    if not parts:
        return words.gettext("No readings.")
    return words.gettext("Readings: {counts}.").format(counts=show_list(parts, language))
