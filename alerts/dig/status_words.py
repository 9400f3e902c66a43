"""How a block stands by what digging showed, in words; none of them says that it is without."""

from __future__ import annotations

from alerts.dig.status import BlockStatus, Standing
from alerts.figures import show_day
from alerts.words import translations


def name_standing(standing: Standing, language: str) -> str:
    """Return "not found"."""
    _ = translations(language).gettext
    match standing:
        case Standing.FOUND:
            return _("found")
        case Standing.SUSPECTED:
            return _("suspected")
        case Standing.NOT_FOUND:
            return _("not found")
        case Standing.NOT_LOOKED_AT:
            return _("not looked at")


def tell_status(status: BlockStatus, language: str) -> str:
    """Return how a block stands, with dates and what it rests on, in two or three sentences."""
    words = translations(language)
    _ = words.gettext
    since, last = (
        day and show_day(day, language, status.as_of) for day in (status.since, status.last_dug)
    )
    told: list[str] = []
    match status.standing:
        case Standing.FOUND:
            told.append(_("Found on {day}; last dug on {last}.").format(day=since, last=last))
        case Standing.SUSPECTED:
            told.append(
                _(
                    "Suspected since {day}, no specialist has spoken yet; last dug on {last}."
                ).format(day=since, last=last)
            )
        case Standing.NOT_FOUND:
            told += [
                _("Not found; last dug on {last}.").format(last=last),
                _tell_basis(status, language),
            ]
        case Standing.NOT_LOOKED_AT:
            told.append(_("Not looked at."))
    if status.no_live_roots:
        text = words.ngettext(
            "{count} dig met no live roots and says nothing.",
            "{count} digs met no live roots and say nothing.",
            status.no_live_roots,
        )
        told.append(text.format(count=status.no_live_roots))
    return " ".join(told)


def tell_confidence(status: BlockStatus, language: str) -> str:
    """Return "94 % sure of under 5 %"; "" where there is no confidence."""
    if status.percent is None:
        return ""
    text = translations(language).gettext("{sure} % sure of under {share} %")
    return text.format(sure=status.percent, share=_share(status))


def _tell_basis(status: BlockStatus, language: str) -> str:
    words = translations(language)
    if status.percent is None:
        return words.gettext("Only chosen vines were dug: they give no confidence.")
    count = sum(status.by_lot.values())
    return words.ngettext(
        "By {count} vine drawn by lot it is {sure} % sure that fewer than {share} % of the vines "
        "are infested.",
        "By {count} vines drawn by lot it is {sure} % sure that fewer than {share} % of the vines "
        "are infested.",
        count,
    ).format(count=count, sure=status.percent, share=_share(status))


def _share(status: BlockStatus) -> str:
    return f"{100 * status.search.prevalence:g}"
