"""What the sheet for the clipboard says: headings, boxes to fill, how to read its map."""

from __future__ import annotations

from dataclasses import dataclass

from alerts.words import translations

BLANK_LINES = 12
"""To fill where no vines are named."""


@dataclass(frozen=True)
class SheetWords:
    """The words of a sheet in one language.

    columns : of the table, the vine first, then the boxes
    choices : what is ticked in the boxes of the last columns, as in alerts.dig.records
    """

    title: str
    who: str
    columns: tuple[str, ...]
    choices: tuple[tuple[str, ...], ...]
    by_eye: str
    map_title: str
    row: str
    vine: str
    weak: str
    dig: str
    north: str
    card: str
    cautions: str
    claims: str
    to_the_block: str
    page: str


def sheet_words(language: str) -> SheetWords:
    """Return the words of a sheet."""
    _ = translations(language).gettext
    return SheetWords(
        title=_("Dig sheet"),
        who=_("Dug on ____________________   by ________________________________________"),
        columns=(
            _("No."),
            _("Row"),
            _("Vine"),
            _("Why here"),
            _("Depth, cm"),
            _("Roots"),
            _("Swellings"),
            _("Insects"),
            _("Specimen, mark, notes"),
        ),
        choices=(
            (_("live, fine"), _("live, coarse"), _("no live ones"), _("dead ones too")),
            (_("pale"), _("dark"), _("none")),
            ("0", _("up to 10"), _("up to 100"), _("more")),
            (_("by lot"), _("specimen taken")),
        ),
        by_eye=_("No weak patch to dig is known in this block: choose by eye; write which vines."),
        map_title=_("The block from above"),
        row=_("Row {number}"),
        vine=_("vine {number}"),
        weak=_("weak patch"),
        dig=_("dig here, by number"),
        north=_("N"),
        card=_("What to do at each vine"),
        cautions=_("Before anyone digs"),
        claims=_("What it can show"),
        to_the_block=_("The block on screen"),
        page=_("page {number}"),
    )


def describe_map(measure: str, day: str, language: str) -> str:
    """Return what the map was made from."""
    return translations(language).gettext("{measure} of {day}").format(measure=measure, day=day)


def describe_root_zone(interval: str, language: str) -> str:
    """Return how deep is dug."""
    return translations(language).gettext("Root zone to dig: {interval}").format(interval=interval)
