"""Spread and what follows for replanting, in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from babel.numbers import format_decimal

from alerts.dig.spread import FARTHEST_REACH_M, FAST, SLOW, USUAL_REACH_M, Growth, Pace
from alerts.figures import locale_of, show_day
from alerts.words import translations


@dataclass(frozen=True)
class ReplantingWords:
    """The words around the table; `columns` are its heads before those of shares."""

    title: str
    columns: tuple[str, ...]
    growth: str
    nothing: str


def replanting_words(language: str) -> ReplantingWords:
    """Return the words around the table."""
    _ = translations(language).gettext
    return ReplantingWords(
        title=_("Spread and replanting"),
        columns=(_("Block"), _("Stands"), _("Age"), _("Roots"), _("Weak or infested")),
        growth=_("How it has grown"),
        nothing=_("There is no block to show."),
    )


def name_pace(pace: Pace, language: str) -> str:
    """Return how a growth lies to the published range, in a few words."""
    _ = translations(language).gettext
    match pace:
        case Pace.SHRUNK:
            return _("not grown")
        case Pace.SLOWER:
            return _("slower than published")
        case Pace.WITHIN:
            return _("within what is published")
        case Pace.FASTER:
            return _("faster than published")


def tell_growth(growth: Growth, what: str, language: str) -> str:
    """Return what became of `what`, such as "weak vines", in a sentence."""
    _ = translations(language).gettext
    days = growth.before.day, growth.after.day
    first, last = (show_day(day, language, growth.after.day) for day in days)
    text = _("{what}: {before} on {first}, {after} on {last}").format(
        what=what[:1].upper() + what[1:],
        before=len(growth.before.vines),
        after=len(growth.after.vines),
        first=first,
        last=last,
    )
    if growth.times_a_year is not None and growth.pace is not None:
        text += _("; {times} times in a year, {pace}").format(
            times=show_times(growth.times_a_year, language), pace=name_pace(growth.pace, language)
        )
    if growth.reach_m is not None:
        text += _("; up to {metres} m in a year").format(metres=round(growth.reach_m))
    return f"{text}."


def tell_years(years: Mapping[str, int], language: str) -> str:
    """Return "2027 to 2038, middle 2029"."""
    _ = translations(language).gettext
    if years["slow"] == years["fast"]:
        return str(years["fast"])
    return _("{fast} to {slow}, middle {middle}").format(**years)


def show_times(times: float, language: str) -> str:
    """Return "2.1"."""
    return format_decimal(times, "0.0", locale_of(language))


def show_share(share: float, language: str) -> str:
    """Return "8.9 %"; "under 0.1 %" where it is not none."""
    if 0.0 < share < 0.001:
        text = translations(language).gettext("under {share} %")
        return text.format(share=format_decimal(0.1, "0.0", locale_of(language)))
    return f"{format_decimal(100 * share, '0.0', locale_of(language))} %"


def explain_spread(language: str) -> list[str]:
    """Return what growth is held against, and what it does not show, a paragraph each.

    References
    ----------
    [KING-BUCHANAN]
    """
    _ = translations(language).gettext
    near_m, far_m = USUAL_REACH_M
    return [
        _(
            "Published (King and Buchanan 1986): the number of infested vines grows {slow} to "
            "{fast} times in a year; within a vineyard the insect goes {near} to {far} m in a "
            "year, and up to {farthest} m are possible. The years are those in which a share of "
            "the block would be weak or infested by the slow and by the fast end of that; the "
            "middle is ours. Near the whole block it goes slower."
        ).format(
            slow=show_times(SLOW, language),
            fast=show_times(FAST, language),
            near=round(near_m),
            far=round(far_m),
            farthest=round(FARTHEST_REACH_M),
        ),
        _(
            "More vines are infested than are weak: in one published case fewer than 5 % were weak "
            "where over 90 % were infested. Vines with a find are those that were dug: who digs "
            "more finds more. And weak vines may have another cause, until digging says."
        ),
    ]


def explain_replanting(language: str) -> list[str]:
    """Return how to read the table, a paragraph each.

    References
    ----------
    [OSU-MANAGING]
    """
    _ = translations(language).gettext
    return [
        _(
            "Blocks stand by site and name. No column is weighed against another: what comes "
            "first is for you to decide."
        ),
        _(
            "Published advice: European vines on their own roots that are infested die in the "
            "end, sooner where they are weak, and are replanted on rootstocks that withstand the "
            "insect. Which kind suits the soil is a question for your adviser. A block with "
            "rootstock may carry the insect too."
        ),
    ]
