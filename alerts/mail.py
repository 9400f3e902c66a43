"""The mail: a letter, or a text for a phone, as an Internet message."""

from __future__ import annotations

from datetime import datetime
from email.message import EmailMessage
from email.policy import SMTP
from functools import lru_cache

from alerts.addresses import parse_address
from alerts.calendar import write_calendars
from alerts.letter import Letter, Picture
from alerts.letter_html import write_html

CALENDARS = {"PUBLISH": "dig-season", "CANCEL": "called-off"}
"""Names of the files that calendars are attached as."""


def compose_mail(
    letter: Letter,
    sender: str,
    to: str,
    sent_at: datetime,
    message_id: str,
    unsubscribe_url: str | None = None,
) -> bytes:
    """Return a letter as a mail in plain text and HTML, ready to send or to keep as an .eml file.

    Parameters
    ----------
    letter : Letter
    sender, to : str
        One address each, with or without a name: "Name <name@example.org>".
    sent_at : datetime
        Aware.
    message_id : str
        Unique, as "<left@right>".

    unsubscribe_url : str or None
        Where one POST ends such mails to this address.

    It is one of a list, named after the domain of its sender.

    Raises
    ------
    ValueError
        When an address is none or several, a header has a line break, or `sent_at` is naive.

    References
    ----------
    [RFC-5322] for Date, From and Message-ID; [RFC-3834] for Auto-Submitted; [RFC-2919] for List-Id;
    [RFC-2369] for List-Unsubscribe, [RFC-8058] for its one click;
    [RFC-2387] for the pictures beside the HTML; [RFC-6047] 2.4 for the calendar's Content-Type.
    """
    mail = _begin_mail(sender, to, sent_at, message_id)
    mail["Subject"] = " ".join(letter.subject.split())
    mail["List-Id"] = f"<digests.{parse_address(sender).domain}>"
    if unsubscribe_url is not None:
        mail["List-Unsubscribe"] = f"<{unsubscribe_url}>"
        mail["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    mail.set_content(letter.text, charset="utf-8", cte="quoted-printable")
    mail.add_alternative(write_html(letter), "html", charset="utf-8", cte="quoted-printable")
    _, html = mail.iter_parts()
    if letter.pictures:
        html.make_related()  # type: ignore[attr-defined] (an EmailMessage, as it was made)
    for picture in letter.pictures:
        html.attach(_write_picture(picture))  # type: ignore[attr-defined]
    organizer = parse_address(sender).addr_spec
    for method, calendar in write_calendars(letter.events, organizer, sent_at):
        mail.add_attachment(
            calendar,
            "calendar",
            charset="utf-8",
            cte="base64",
            params={"method": method},
            filename=f"{CALENDARS[method]}.ics",
        )
    return mail.as_bytes()


def compose_text_mail(text: str, sender: str, to: str, sent_at: datetime, message_id: str) -> bytes:
    """Return a text for a phone as the mail from which a mail-to-SMS service makes it.

    Without a subject, which such services put into the text; otherwise as `compose_mail`.
    """
    mail = _begin_mail(sender, to, sent_at, message_id)
    mail.set_content(text, charset="us-ascii" if text.isascii() else "utf-8")
    return mail.as_bytes()


@lru_cache(4096)  # many readers see the same
def _write_picture(picture: Picture) -> EmailMessage:
    part = EmailMessage(policy=SMTP)
    part.set_content(
        picture.png,
        "image",
        "png",
        cid=f"<{picture.content_id}>",
        filename=picture.file_name,
        disposition="inline",
    )
    return part


def _begin_mail(sender: str, to: str, sent_at: datetime, message_id: str) -> EmailMessage:
    if sent_at.tzinfo is None:
        raise ValueError(f"naive datetime {sent_at!r}; a mail needs an aware one")
    mail = EmailMessage(policy=SMTP)
    for header, text in (("From", sender), ("To", to)):
        try:
            parse_address(text)
        except ValueError as error:
            raise ValueError(f"{header}: '{text}' {error}") from None
        mail[header] = text
    mail["Date"] = sent_at
    mail["Message-ID"] = message_id
    mail["Auto-Submitted"] = "auto-generated"  # no robot should answer a robot
    return mail
