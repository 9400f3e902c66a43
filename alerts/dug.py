"""What is said to who has dug, and hears no more of a window but its close."""

from __future__ import annotations

from collections.abc import Sequence

from alerts.gsm import shorten, to_gsm7
from alerts.words import translations

_NAME_LENGTH = 40


def word_dug_link(block_name: str, language: str) -> str:
    """Return what stands by the link in a mail."""
    text = translations(language).gettext("You have dug {block} and want to hear only of its close")
    return text.format(block=block_name)


def tell_dug(block_name: str, is_dug: bool, language: str) -> str:
    """Return how it stands, for the page."""
    _ = translations(language).gettext
    text = _("{block}: you hear what there is to tell of this window.")
    if is_dug:
        text = _("{block}: you have dug, and hear of this window only when it closes.")
    return text.format(block=block_name)


def word_dug_button(is_dug: bool, language: str) -> str:
    """Return what stands on the button of the page."""
    _ = translations(language).gettext
    return _("Tell me all of it again") if is_dug else _("I have dug")


def answer_dug(block_name: str, language: str) -> str:
    """Return the answer to a text, as an SMS."""
    return to_gsm7(tell_dug(shorten(block_name, _NAME_LENGTH), is_dug=True, language=language))


def ask_which_block(names: Sequence[str], language: str) -> str:
    """Return the question which block is meant, as an SMS."""
    _ = translations(language).gettext
    if not names:
        return to_gsm7(_("You were told of no open dig season."))
    known = ", ".join(shorten(name, 20) for name in names[:4])
    return to_gsm7(
        _("Which block have you dug? Write DUG and one of: {known}.").format(known=known)
    )
