"""The mail with a link on which the password of an account is chosen."""

from __future__ import annotations

from alerts.letter import Letter, Link, Part
from alerts.words import translations


def compose_invitation(organisation: str, language: str, link: str) -> Letter:
    """Return it as a mail."""
    _ = translations(language).gettext
    told = (
        _("By this link you choose the password of your account. It works once, and not for long."),
        _("If you did not ask for it, do nothing: nothing changes."),
    )
    subject = _("Your account at {organisation}").format(organisation=organisation)
    source = _("For {reader} by {organisation}.").format(
        reader=_("the owner of this address"), organisation=organisation
    )
    links = (Link(_("Choose a password"), link),)
    return Letter(subject, language, (Part(paragraphs=told),), source, links)
