"""What the temperature of a day rests on, in sentences: probes, their hours, what is missing."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from alerts.figures import (
    show_day,
    show_depths,
    show_interval,
    show_neighbours,
    show_sources,
    show_temperature,
)
from alerts.why.facts import DayBasis, ProbeDay, Why
from alerts.words import translations
from probes.units import Unit


def tell_basis(why: Why, language: str, unit: Unit) -> Iterator[str]:
    """Yield what the probes of a block gave on a day, and what that made of its root zone."""
    _, basis = translations(language).gettext, why.basis
    day = show_day(basis.day, language, why.day)
    interval = show_interval(*why.root_zone_cm, language)
    if basis.lent_by:
        neighbours = show_neighbours(basis.lent_by, language)
        yield _(
            "No probe of its own measured the block on {day}: it is borrowed from {neighbours}."
        ).format(day=day, neighbours=neighbours)
    elif not basis.probes:
        yield _("No probe lies within its root zone, {interval}, or near it.").format(
            interval=interval
        )
        return
    else:
        yield from _tell_probes(basis, day, language)
        if why.stations:
            yield _("They are at {stations}; the soil of the block may differ.").format(
                stations=show_sources(why.stations, language)
            )
    if basis.root_zone_c is None:
        text, temperature = _("So the root zone, {interval}, has no temperature on {day}."), ""
    else:
        text = _("The mean over its root zone, {interval}, was {temperature} on {day}.")
        temperature = show_temperature(basis.root_zone_c, unit, language)
    yield text.format(interval=interval, temperature=temperature, day=day)


def _tell_probes(basis: DayBasis, day: str, language: str) -> Iterator[str]:
    _ = translations(language).gettext
    ordered = sorted(basis.probes, key=lambda one: (_what(one), one.depth_cm))
    for _what_they_gave, alike in groupby(ordered, _what):
        yield " ".join(_tell_alike(list(alike), day, language))
    if basis.estimated_cm:
        yield _("What is missing at {depths} was estimated from what is known around it.").format(
            depths=show_depths(basis.estimated_cm, language)
        )
    if basis.carried_from_cm is not None:
        yield _(
            "No probe lies deep enough: the soil below {depth} is estimated from there."
        ).format(depth=show_depths([basis.carried_from_cm], language))


def _tell_alike(alike: list[ProbeDay], day: str, language: str) -> Iterator[str]:
    """Say what probes that gave the same gave."""
    _, ngettext = translations(language).gettext, translations(language).ngettext
    one = alike[0]
    depths = show_depths(sorted({probe.depth_cm for probe in alike}), language)
    if one.hours is None:
        text = _("At {depths} the soil was read by hand on {day}.")
        if not one.complete:
            text = _("At {depths} nobody read the soil by hand on {day}.")
    elif one.hours == 24:
        text = ngettext(
            "The probe at {depths} reported all 24 hours of {day}.",
            "The probes at {depths} reported all 24 hours of {day}.",
            len(alike),
        )
    elif one.hours:
        text = ngettext(
            "The probe at {depths} reported {hours} of the 24 hours of {day}.",
            "The probes at {depths} reported {hours} of the 24 hours of {day}.",
            len(alike),
        )
    else:
        text = ngettext(
            "The probe at {depths} reported nothing that counts on {day}.",
            "The probes at {depths} reported nothing that counts on {day}.",
            len(alike),
        )
    yield text.format(depths=depths, hours=one.hours, day=day)
    if one.left_out:
        yield ngettext(
            "{count} reading was found wrong or suspect and left out.",
            "{count} readings were found wrong or suspect and left out.",
            one.left_out,
        ).format(count=one.left_out)
    if one.hours and not one.complete:
        yield _("That is too few: a day needs 18 hours, and no more than 3 missing in a row.")


def _what(one: ProbeDay) -> tuple[bool, int, int, bool]:
    return one.hours is None, -(one.hours or 0), one.left_out, one.complete
