"""The words of the order in which to go to blocks, on a page and on its sheet."""

from __future__ import annotations

from dataclasses import dataclass

from babel.numbers import format_decimal

from alerts.dig.hygiene import explain_cleaning, name_cleaning, warn_of_cleaning
from alerts.dig.order import Visit
from alerts.dig.status_words import name_standing, tell_confidence
from alerts.figures import locale_of, show_day
from alerts.words import translations

_HERE_KM = 0.05


@dataclass(frozen=True)
class OrderWords:
    """The words around the table; `columns` are its heads."""

    title: str
    columns: tuple[str, ...]
    cleaning: str
    nothing: str


def order_words(language: str) -> OrderWords:
    """Return the words around the table."""
    _ = translations(language).gettext
    return OrderWords(
        title=_("In which order to go"),
        columns=(_("No."), _("Block"), _("Stands"), _("Last dug"), _("Way"), _("Before it")),
        cleaning=_("What to clean between blocks"),
        nothing=_("There is no block to go to."),
    )


def tell_visit(visit: Visit, language: str) -> tuple[str, str, str, str]:
    """Return how a block stands, when it was last dug, the way to it, what to do before it."""
    status = visit.stop.status
    stands = name_standing(status.standing, language)
    if sure := tell_confidence(status, language):
        stands = f"{stands}, {sure}"
    last = status.last_dug
    return (
        stands,
        show_day(last, language, status.as_of) if last else "",
        show_way(visit.way_km, language),
        name_cleaning(visit.cleaning, language),
    )


def show_way(way_km: float | None, language: str) -> str:
    """Return "2.4 km", "" where there is none to speak of."""
    if way_km is None or way_km < _HERE_KM:
        return ""
    return f"{format_decimal(way_km, '0.0', locale_of(language))} km"


def tell_of_cleaning(language: str) -> list[str]:
    """Return what cleaning means and what to mind, a paragraph each."""
    return [*explain_cleaning(language), *warn_of_cleaning(language)]
