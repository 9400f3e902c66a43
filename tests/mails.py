"""Mails as their readers have them."""

from __future__ import annotations

from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default


def read_mail(mail: bytes) -> EmailMessage:
    """Return a mail, read back by the standard library."""
    return message_from_bytes(mail, policy=default)  # type: ignore[return-value]


def text_of(mail: bytes) -> str:
    """Return the plain text of a mail on one line."""
    part = read_mail(mail).get_body(("plain",))
    assert part is not None, "it has no plain text"
    return " ".join(part.get_content().split())
