"""Weak patches in words."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date

from babel.numbers import format_decimal

from alerts.dig.patches import Patch
from alerts.figures import locale_of, show_day
from alerts.words import translations

ROUND = 0.8
"""A patch whose width is more of its length than that is called round. Ours, no source."""


def name_patch(number: int, language: str) -> str:
    """Return "patch 2"."""
    return translations(language).gettext("patch {number}").format(number=number)


def tell_patches(patches: Sequence[Patch], aside: Collection[int], language: str) -> str:
    """Return what a map of patches shows, for who does not see it."""
    _ = translations(language).gettext
    told = [
        "{name}, {where}{aside}.".format(
            name=name_patch(one.number, language),
            where=tell_where(one, language),
            aside=f" ({_('set aside')})" if one.number in aside else "",
        )
        for one in patches
    ]
    return " ".join(told) or _("No weak patch.")


def count_patches(patches: int, aside: int, dig: int, language: str) -> str:
    """Return how many weak patches were found, and how many vines are named, as sentences."""
    words = translations(language)
    told = [
        words.ngettext("{count} weak patch found.", "{count} weak patches found.", patches).format(
            count=patches
        )
    ]
    if aside:
        told.append(
            words.ngettext("{count} is set aside.", "{count} are set aside.", aside).format(
                count=aside
            )
        )
    if dig:
        told.append(
            words.ngettext(
                "{count} vine to dig is named.", "{count} vines to dig are named.", dig
            ).format(count=dig)
        )
    return " ".join(told)


def tell_where(patch: Patch, language: str) -> str:
    """Return "rows 5-10, vines 13-20"."""
    text = translations(language).gettext("rows {rows}, vines {vines}")
    rows, vines = (
        f"{numbers[0]}-{numbers[-1]}" if len(numbers) > 1 else f"{numbers[0]}"
        for numbers in (sorted({one[place] for one in patch.vines}) for place in (0, 1))
    )
    return text.format(rows=rows, vines=vines)


def tell_patch(patch: Patch, before: date | None, language: str, as_of: date) -> list[str]:
    """Return how weak a patch is, how it lies, and what it has grown by since `before`."""
    words = translations(language)
    _ = words.gettext
    lie = {
        "round": _("nearly round"),
        "along": _("along the rows"),
        "across": _("across the rows"),
        "aslant": _("aslant to the rows"),
    }[find_lie(patch)]
    weak = words.ngettext(
        "{count} vine, weaker than its surroundings by {loss}.",
        "{count} vines, weaker than their surroundings by {loss}.",
        len(patch.vines),
    )
    size = _("About {length:.0f} m by {width:.0f} m, {lie}.")
    told = [
        weak.format(count=len(patch.vines), loss=_percent(patch.loss, language)),
        size.format(length=patch.length_m, width=patch.width_m, lie=lie),
    ]
    if patch.grown_by is not None and before is not None:
        text = _("Since {day} it has grown by {share}.")
        if patch.is_new:
            text = _("It was not there on {day}.")
        elif patch.grown_by < 0:
            text = _("Since {day} it has shrunk by {share}.")
        elif round(patch.grown_by, 2) == 0:
            text = _("It has not grown since {day}.")
        share = _percent(abs(patch.grown_by), language)
        told.append(text.format(day=show_day(before, language, as_of), share=share))
    return told


def find_lie(patch: Patch) -> str:
    """Return "round", or how its longer axis lies: "along", "across" or "aslant"."""
    if patch.width_m > ROUND * patch.length_m:
        return "round"
    return "along" if patch.angle_deg < 30 else "across" if patch.angle_deg > 60 else "aslant"


def _percent(share: float, language: str) -> str:
    return f"{format_decimal(100 * share, '0', locale_of(language))} %"
