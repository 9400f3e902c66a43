"""Why a vine is dug, in words."""

from __future__ import annotations

from alerts.dig.vines import DigVine
from alerts.words import translations


def tell_reason(one: DigVine, language: str) -> str:
    """Return "strong, 2 vines from the patch along the row"."""
    words = translations(language)
    match one.place:
        case "along":
            text = words.ngettext(
                "strong, next to the patch in its row",
                "strong, {count} vines from the patch along the row",
                one.steps,
            )
        case "across":
            text = words.ngettext(
                "strong, in the row next to the patch",
                "strong, {count} rows from the patch",
                one.steps,
            )
        case "inside":
            text = words.ngettext(
                "weak, at the edge of the patch",
                "weak, {count} places inside the patch",
                one.steps,
            )
    return text.format(count=one.steps)
