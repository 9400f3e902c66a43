"""One message to try whether messages arrive."""

from __future__ import annotations

from alerts.gsm import shorten, to_gsm7
from alerts.letter import Letter
from alerts.words import translations

_NAME_LENGTH = 60


def compose_trial(organisation: str, language: str) -> Letter:
    """Return it as a mail."""
    _ = translations(language).gettext
    return Letter(_("A test of Digseason"), language, (), _tell(organisation, language))


def compose_trial_sms(organisation: str, language: str) -> str:
    """Return it as an SMS: GSM 7-bit alphabet, one part."""
    return to_gsm7(_tell(shorten(organisation, _NAME_LENGTH), language))


def _tell(organisation: str, language: str) -> str:
    _ = translations(language).gettext
    text = _("This is a test: messages from {organisation} reach you here. Nothing is to be done.")
    return text.format(organisation=organisation)
