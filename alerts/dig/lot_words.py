"""How many vines to dig by lot, and which, in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from babel.numbers import format_decimal

from alerts.dig.how_many import HowMany
from alerts.dig.lot import Lot
from alerts.figures import locale_of, show_list
from alerts.words import translations


def tell_draw(lot: Lot, language: str) -> str:
    """Return how many were drawn of how many, and by which seed."""
    text = translations(language).gettext(
        "Vines drawn by lot: {count} of {of}, seed {seed}. Dig all of them: a part that is chosen "
        "by eye is no draw."
    )
    shown = (show_count(one, language) for one in (len(lot.drawn), lot.of))
    return text.format(**dict(zip(("count", "of"), shown, strict=True)), seed=lot.seed)


def tell_left_out(lot: Lot, vines: int | None, language: str) -> Iterator[str]:
    """Yield that the block has more vines than it was drawn from, where it has."""
    if vines is not None and vines > lot.of:
        text = translations(language).gettext(
            "The block has {vines} vines; {left} of them are not known by row and number and could "
            "not be drawn: the draw says nothing of those."
        )
        yield text.format(
            vines=show_count(vines, language), left=show_count(vines - lot.of, language)
        )


def name_drawn(language: str) -> tuple[str, str]:
    """Return what is said of a vine that was drawn, and of one in reserve."""
    _ = translations(language).gettext
    return _("drawn by lot"), _("in reserve")


def tell_spare(language: str) -> str:
    """Return what vines in reserve are for."""
    return translations(language).gettext(
        "In reserve, in this order, for drawn vines that are not there:"
    )


def tell_how_many(one: HowMany, language: str) -> str:
    """Return how many vines to dig and what that shows; or how sure one can be at most."""
    words = translations(language)
    shares = {
        "confidence": show_share(one.confidence, language),
        "prevalence": show_share(one.design.prevalence, language),
        "sensitivity": show_share(one.design.sensitivity, language),
        "vines": show_count(one.design.vines, language),
    }
    if one.wanted is None:
        text = words.gettext(
            "The block is too small to be {confidence} sure that less than {prevalence} of its "
            "{vines} vines are infested: with every vine dug, each showing the insect "
            "{sensitivity} of the time, it is {ceiling}."
        )
        return text.format(**shares, ceiling=show_share(one.design.ceiling, language))
    text = words.ngettext(
        "Dig {count} vine drawn by lot. Without a find it is then {confidence} sure that less "
        "than {prevalence} of the {vines} vines are infested, if the digging of an infested vine "
        "shows it {sensitivity} of the time.",
        "Dig {count} vines drawn by lot. Without a find it is then {confidence} sure that less "
        "than {prevalence} of the {vines} vines are infested, if the digging of an infested vine "
        "shows it {sensitivity} of the time.",
        one.wanted,
    )
    return text.format(count=show_count(one.wanted, language), **shares)


def tell_so_far(
    one: HowMany, by_lot: Mapping[int, int], introduction: float, language: str
) -> Iterator[str]:
    """Yield what digs by lot of all seasons say, and how many are still to be dug."""
    if one.now is None:
        return
    words = translations(language)
    of_seasons = [
        words.gettext("{count} in {season}").format(
            count=show_count(count, language), season=season
        )
        for season, count in sorted(by_lot.items())
    ]
    text = words.gettext(
        "By lot and without a find so far: {dug}. With an even chance before them, and a chance of "
        "{introduction} a year that the insect comes in, it is {now} sure now."
    )
    yield text.format(
        dug=show_list(of_seasons, language),
        introduction=show_share(introduction, language),
        now=show_share(one.now, language),
    )
    if one.still is None:
        yield words.gettext("No number of vines in this season makes it sure enough.")
        return
    still = words.ngettext(
        "{count} vine is still to be dug by lot in this season.",
        "{count} vines are still to be dug by lot in this season.",
        one.still,
    )
    yield still.format(count=show_count(one.still, language))


def show_share(share: float, language: str) -> str:
    """Return "95 %", "99.97 %", cut off and not rounded: what is not all is never 100 %."""
    cut = int(share * 10_000 + 1e-7) / 100
    return f"{format_decimal(cut, '0.##', locale_of(language))} %"


def show_count(count: int, language: str) -> str:
    """Return "1,200"."""
    return format_decimal(count, "#,##0", locale_of(language))
