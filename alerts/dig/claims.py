"""What a dig without a find can be taken for, and what not."""

from __future__ import annotations

from alerts.words import translations


def claim_by_lot(language: str) -> str:
    """Return what vines drawn by lot can show."""
    return translations(language).gettext(
        "Vines drawn by lot over the whole block, none left out, can be counted: without a find "
        "they say with which confidence fewer than the stated share of vines is infested. They "
        "never say that none is. A few rows or one corner are no draw by lot."
    )


def claim_targeted(language: str) -> str:
    """Return what vines chosen at weak patches can show."""
    return translations(language).gettext(
        "Vines chosen at a weak patch are where a find is most likely, and a find decides. Without "
        "one they give no share and no confidence for the block: ten empty holes are no answer. "
        "They are not counted among the vines drawn by lot."
    )


def say_of_no_patch(language: str) -> str:
    """Return what a block without a weak patch says."""
    return translations(language).gettext(
        "A block without a weak patch may be infested: it takes years until vines weaken."
    )
