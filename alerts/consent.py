"""Asking someone whether they want to be told at an address, and the page on which they say so."""

from __future__ import annotations

from typing import Literal

from alerts.gsm import ONE_PART, count_septets, shorten, to_gsm7
from alerts.letter import Letter, Link, Part
from alerts.words import translations

Standing = Literal["not asked", "asked", "confirmed", "stopped"]
_NAME_LENGTHS = (40, 24, 12, 6)


def compose_request(organisation: str, language: str, code: str, link: str | None) -> Letter:
    """Return the request as a mail.

    Parameters
    ----------
    organisation, language, code : str
    link : str or None
        To the page on which the address is confirmed; None: there is none, the code is told.
    """
    _ = translations(language).gettext
    paragraphs = [
        _(
            "{organisation} would write to you here when dig season opens or closes in your "
            "vineyard blocks, or when their readings stop."
        ),
        _("Nothing else is sent to this address until you say yes."),
    ]
    if link is None:
        paragraphs.append(_("To say yes, tell {organisation} this code: {code}."))
    paragraphs.append(_("If you do not want this, do nothing."))
    told = tuple(one.format(organisation=organisation, code=code) for one in paragraphs)
    links = () if link is None else (Link(_("Say yes"), link),)
    subject = _("Say yes to messages on dig season from {organisation}")
    source = _("For {reader} by {organisation}.").format(
        reader=_("the owner of this address"), organisation=organisation
    )
    subject = subject.format(organisation=organisation)
    return Letter(subject, language, (Part(paragraphs=told),), source, links)


def compose_request_sms(
    organisation: str, language: str, code: str, link: str | None, can_answer: bool
) -> str:
    """Return the request as an SMS: GSM 7-bit alphabet, one part where the link lets it.

    can_answer : whether a text that is sent back is read
    """
    _ = translations(language).gettext
    text = _("{organisation}: messages on dig season here? To say yes, tell them the code {code}.")
    if link is not None:
        text = _("{organisation}: messages on dig season here? Say yes: {link}")
    if can_answer:
        text = _("{organisation}: messages on dig season here? To say yes, answer {code}.")
    wordings = [
        to_gsm7(text.format(organisation=shorten(organisation, length), code=code, link=link))
        for length in _NAME_LENGTHS
    ]
    return next((one for one in wordings if count_septets(one) <= ONE_PART), wordings[-1])


def answer_stopped(organisation: str, language: str) -> str:
    """Return the answer to STOP, as an SMS."""
    text = translations(language).gettext(
        "{organisation}: no more texts on dig season come here. START lets them come again."
    )
    return to_gsm7(text.format(organisation=shorten(organisation, _NAME_LENGTHS[0])))


def answer_started(organisation: str, language: str) -> str:
    """Return the answer to START, as an SMS."""
    text = translations(language).gettext(
        "{organisation}: texts on dig season come here from now on. STOP ends them."
    )
    return to_gsm7(text.format(organisation=shorten(organisation, _NAME_LENGTHS[0])))


def answer_wrong_code(language: str) -> str:
    """Return the answer to another code than the one that was sent, as an SMS."""
    return to_gsm7(translations(language).gettext("That is not the code that was sent here."))


def answer_no_codes(organisation: str, language: str) -> str:
    """Return the answer to a code from where too many wrong ones came, as an SMS."""
    text = translations(language).gettext(
        "Too many wrong codes came from this number: none is taken for a day. Ask {organisation}."
    )
    return to_gsm7(text.format(organisation=shorten(organisation, _NAME_LENGTHS[0])))


def answer_too_many(language: str) -> str:
    """Return the last answer to a number that sends too many texts, as an SMS."""
    text = translations(language).gettext(
        "Too many texts come from this number: for some hours not all are answered. "
        "STOP still works."
    )
    return to_gsm7(text)


def word_link(language: str) -> str:
    """Return what stands by the link in every mail."""
    return translations(language).gettext("Want no more of these messages")


def tell_standing(state: Standing, address: str, organisation: str, language: str) -> str:
    """Return how it stands with an address, for its page."""
    _ = translations(language).gettext
    if state == "confirmed":
        text = _("Messages on dig season from {organisation} go to {address}.")
    elif state == "stopped":
        text = _("No messages from {organisation} go to {address} any more.")
    else:
        text = _("Nothing else is sent to {address} until you say yes.")
    return text.format(organisation=organisation, address=address)


def word_buttons(state: Standing, language: str) -> dict[Literal["yes", "stop"], str]:
    """Return what can be said on the page, with the words of its button."""
    _ = translations(language).gettext
    if state == "confirmed":
        return {"stop": _("Stop these messages")}
    if state == "stopped":
        return {"yes": _("Start them again")}
    return {"yes": _("Yes, write to me"), "stop": _("No, never")}
