"""What is kept or refused in English, in the language of a visitor.

The log keeps deeds as they were noted, and a refusal is the same for people and programs: both are
English. Here are their forms, each once, as the catalogues have them; what has no form stays as it
is.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache

from alerts.words import translations

N_ = str
"""Marks words for the catalogues."""

DEEDS = (
    N_("added a logger"),
    N_("came by {provider}, not invited"),
    N_("chose a password"),
    N_("drafted an advisory"),
    N_("dropped a message"),
    N_("dropped an advisory"),
    N_("dropped what was held back"),
    N_("imported a file"),
    N_("invited as {role}"),
    N_("kept vigour"),
    N_("let a message be sent again"),
    N_("let messages go again"),
    N_("let the account see {named}"),
    N_("let the coordinator see finds no longer"),
    N_("let the coordinator see finds"),
    N_("locked out for a while"),
    N_("made a link to choose a password"),
    N_("made a token to {scope}"),
    N_("made the link of a calendar"),
    N_("made {before} a {role}"),
    N_("noted on an advisory"),
    N_("released an advisory"),
    N_("renewed the link of a calendar"),
    N_("restored an import"),
    N_("restored the account"),
    N_("revoked a token"),
    N_("revoked the account"),
    N_("revoked the link of a calendar"),
    N_("set a patch aside"),
    N_("shared a site no longer"),
    N_("shared a site with its exact place"),
    N_("shared a site without its exact place"),
    N_("signed in"),
    N_("signed in by {provider}"),
    N_("signed out everywhere"),
    N_("took a patch back"),
    N_("took back what was found"),
    N_("withdrew an import"),
)
REFUSALS = (
    N_("an advisory is for the whole region; this account sees only some districts of it"),
    N_("another site sent this; go there by yourself"),
    N_("more than {count} bytes; send less at once"),
    N_("no advisory has this number"),
    N_("no block is yours to see"),
    N_("no block of yours has this id"),
    N_("no block of yours is there"),
    N_("no calendar of yours has this number"),
    N_("no import of yours has this number"),
    N_("no message of yours has this number"),
    N_("no one does that to themselves: let another administrator do it"),
    N_("no site of yours has this id"),
    N_("nothing waits to be told"),
    N_("only a person who is signed in does that"),
    N_(
        "others are writing to the store, and this has waited long enough: nothing of it was kept. "
        "Try again in a minute; `digseason check` says what runs"
    ),
    N_("there are no blocks yet"),
    N_("there is no such account"),
    N_("there is no such patch"),
    N_("there is nothing at this address"),
    N_("this file is put aside no longer; it is kept as an import, or send it again"),
    N_("this form cannot be read: {why}"),
    N_("this form is of another session; open the page again"),
    N_("this is not for a {role}"),
    N_("this link does not hold; make a new one at /calendars"),
    N_("too many requests; try again in a while"),
    N_("what the address or the body says is not of this form"),
)
WORDS = (N_("read"), N_("write"), N_("push"), N_("nothing"))
"""What stands within some of them; roles are words of pages."""


def translate(text: str, forms: Iterable[str], language: str) -> str:
    """Return a text of one of some forms in a language."""
    gettext = translations(language).gettext
    for form in forms:
        found = _pattern(form).fullmatch(text)
        if found:
            parts = {
                name: gettext(part) if part else "" for name, part in found.groupdict().items()
            }
            return gettext(form).format(**parts)
    return text


@cache
def _pattern(form: str) -> re.Pattern[str]:
    """Return what a text of a form looks like."""
    return re.compile(re.sub(r"\\\{(\w+)\\\}", r"(?P<\1>.+)", re.escape(form)))
