"""The mail: a digest as an Internet message."""

from __future__ import annotations

from datetime import datetime
from email.message import EmailMessage
from email.policy import SMTP

from alerts.digest import Digest


def compose_mail(digest: Digest, sender: str, to: str, sent_at: datetime, message_id: str) -> bytes:
    """Return a digest as a plain text mail, ready to send or to keep as an .eml file.

    Parameters
    ----------
    digest : Digest
    sender, to : str
        One address each, with or without a name: "Name <name@example.org>".
    sent_at : datetime
        Aware.
    message_id : str
        Unique, as "<left@right>".

    Raises
    ------
    ValueError
        When an address is none or several, a header has a line break, or `sent_at` is naive.

    References
    ----------
    [RFC-5322] for Date, From and Message-ID; [RFC-3834] for Auto-Submitted.
    """
    if sent_at.tzinfo is None:
        raise ValueError(f"naive datetime {sent_at!r}; a mail needs an aware one")
    mail = EmailMessage(policy=SMTP)
    mail["From"] = sender
    mail["To"] = to
    mail["Subject"] = " ".join(digest.subject.split())
    mail["Date"] = sent_at
    mail["Message-ID"] = message_id
    mail["Auto-Submitted"] = "auto-generated"  # no robot should answer a robot
    for header in ("From", "To"):
        addresses = mail[header].addresses
        if len(addresses) != 1 or not addresses[0].domain or mail[header].defects:
            raise ValueError(f"{header}: '{mail[header]}' is not one mail address")
    mail.set_content(digest.text, charset="utf-8", cte="quoted-printable")
    return mail.as_bytes()
