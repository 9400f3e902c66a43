"""How an advisory stands, and what releasing it comes to, in the words of who decides."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from babel.numbers import format_decimal

from alerts.advisories.figures import Advisory, find_differences
from alerts.advisories.letter import name_district
from alerts.figures import locale_of, show_day, show_list
from alerts.news import tidy
from alerts.words import translations
from service.advisories.releasing import Run, find_cost
from service.channels.choosing import is_real
from service.settings import Settings
from service.store.advisories import KeptAdvisory

LEFT_OUT_TOLD = 12


def tell_state(one: KeptAdvisory, language: str, today: date) -> str:
    """Return how an advisory stands, since when and by whom, as a sentence."""
    _ = translations(language).gettext
    if one.released_at:
        text, at, person = _("Released by {person} on {day}."), one.released_at, one.released_by
    elif one.dropped_at:
        text, at, person = _("Dropped by {person} on {day}: {why}"), one.dropped_at, one.dropped_by
    elif one.replaced_at:
        text, at, person = _("Replaced by a later draft on {day}."), one.replaced_at, None
    elif one.drafted_by:
        text, at, person = _("Held. Drafted by {person} on {day}."), one.drafted_at, one.drafted_by
    else:
        text, at, person = _("Held. Drafted by a round on {day}."), one.drafted_at, None
    day = show_day(at.date(), language, today)
    return text.format(person=person, day=day, why=one.dropped_why)


def tell_scope(one: KeptAdvisory, language: str) -> Iterator[str]:
    """Yield of which districts an advisory speaks, where it is not of the whole region."""
    if one.district_ids is not None:
        text = translations(language).gettext("Of {districts} only, for those who grow there.")
        names = [tidy(district.name) for district in one.figures.districts]
        yield text.format(districts=show_list(names, language))


def tell_run(run: Run, settings: Settings, language: str) -> Iterator[str]:
    """Yield to whom a release goes, what its texts cost, and who is left out."""
    words, locale = translations(language), locale_of(language)
    _ = words.gettext

    def number(count: int) -> str:
        return format_decimal(count, "#,##0", locale)

    members = words.ngettext("{count} member", "{count} members", run.members)
    mails = words.ngettext("{count} mail", "{count} mails", run.mails)
    texts = words.ngettext("{count} text", "{count} texts", run.texts)
    yield _("It goes to {members}: {mails} and {texts}.").format(
        members=members.format(count=number(run.members)),
        mails=mails.format(count=number(run.mails)),
        texts=texts.format(count=number(run.texts)),
    )
    if run.texts:
        parts = words.ngettext("{count} part", "{count} parts", run.parts)
        parts, cost = parts.format(count=number(run.parts)), find_cost(run, settings)
        if not is_real("sms", settings):
            yield _("The texts cost nothing: they are written to files.")
        elif cost is None:
            yield _("The texts cost what the gateway takes for {parts}.").format(parts=parts)
        else:
            sum_, currency = cost
            shown = f"{format_decimal(sum_, '#,##0.00', locale)} {currency}"
            yield _("The texts cost about {cost}, for {parts}.").format(cost=shown, parts=parts)
    if run.without_note:
        text = words.ngettext(
            "The note is too long for {count} text; mails have it.",
            "The note is too long for {count} texts; mails have it.",
            run.without_note,
        )
        yield text.format(count=number(run.without_note))
    for name, why in run.left_out[:LEFT_OUT_TOLD]:
        yield _("Not to {name}: {why}.").format(name=name, why=tell_left_out(why, language))
    hidden = len(run.left_out) - LEFT_OUT_TOLD
    if hidden > 0:
        text = words.ngettext("And not to {count} more.", "And not to {count} more.", hidden)
        yield text.format(count=number(hidden))


def tell_left_out(why: str, language: str) -> str:
    """Return why an advisory goes to a member nowhere."""
    _ = translations(language).gettext
    whys = {
        "has not said yes": _("has not said yes"),
        "has not been asked yet": _("has not been asked yet"),
        "wants no messages": _("wants no messages"),
        "address suspended": _("address suspended"),
        "has no address": _("has no address"),
        "is no grower here any more": _("is no grower here any more"),
    }
    return ", ".join(whys.get(one, one) for one in why.split(", "))


def tell_differences(then: Advisory, now: Advisory, language: str) -> Iterator[str]:
    """Yield how each district stands now that has changed since an advisory was drafted."""
    _ = translations(language).gettext
    for before, after in find_differences(then, now):
        name = name_district(after, now, _("All blocks"), language)
        group = after.group
        text = _("{district}: {open} of {blocks} open.")
        if before and group.not_known:
            text = _("{district}: {open} of {blocks} open, {then} then; {not_known} not known now.")
        elif before:
            text = _("{district}: {open} of {blocks} open, {then} then.")
        yield text.format(
            district=name,
            open=group.open,
            blocks=group.blocks,
            not_known=group.not_known,
            then=before and before.group.open,
        )
