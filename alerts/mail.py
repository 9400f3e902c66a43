"""The mail: a letter, or a text for a phone, as an Internet message."""

from __future__ import annotations

from base64 import encodebytes
from collections.abc import Sequence
from datetime import datetime
from email.message import EmailMessage, MIMEPart
from email.policy import SMTP
from functools import lru_cache
from quopri import encodestring as encode_as_text

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
    mail["MIME-Version"] = "1.0"
    html = _write_text(write_html(letter), "html")
    if letter.pictures:
        html = _join("related", [html, *map(_write_picture, letter.pictures)])
    content = _join("alternative", [_write_text(letter.text, "plain"), html])
    organizer = parse_address(sender).addr_spec
    calendars = write_calendars(letter.events, organizer, sent_at)
    if files := [_write_calendar(*one) for one in calendars]:
        content = _join("mixed", [content, *files])
    return mail.as_bytes().removesuffix(b"\r\n") + content


def compose_text_mail(text: str, sender: str, to: str, sent_at: datetime, message_id: str) -> bytes:
    """Return a text for a phone as the mail from which a mail-to-SMS service makes it.

    Without a subject, which such services put into the text; otherwise as `compose_mail`.
    """
    mail = _begin_mail(sender, to, sent_at, message_id)
    mail.set_content(text, charset="us-ascii" if text.isascii() else "utf-8")
    return mail.as_bytes()


def _join(subtype: str, parts: Sequence[bytes]) -> bytes:
    """Return parts, which begin with their headers, as one.

    Between them stands what neither quoted-printable nor base64 can hold: [RFC-2045] 6.7.
    """
    boundary = f"=_{subtype}"
    header = f'Content-Type: multipart/{subtype}; boundary="{boundary}"\r\n'.encode()
    between = f"\r\n--{boundary}".encode()
    begun = b"".join(b"%b\r\n%b" % (between, part) for part in parts)
    return header + begun + between + b"--\r\n"


def _write_text(text: str, subtype: str) -> bytes:
    lines = b"".join(b"%b\n" % line for line in text.encode().splitlines())
    return _write_part(f"text/{subtype}", "quoted-printable", encode_as_text(lines))


def _write_calendar(method: str, calendar: str) -> bytes:
    encoded = encodebytes(calendar.encode())
    file = f'Content-Disposition: attachment; filename="{CALENDARS[method]}.ics"'
    return _write_part(f'text/calendar; method="{method}"', "base64", encoded, file)


def _write_part(kind: str, encoding: str, encoded: bytes, *more: str) -> bytes:
    headers = (
        f'Content-Type: {kind}; charset="utf-8"',
        f"Content-Transfer-Encoding: {encoding}",
        *more,
    )
    lines = "\n".join((*headers, "", "")).encode() + encoded
    return lines.replace(b"\n", b"\r\n")


@lru_cache(4096)  # many readers see the same
def _write_picture(picture: Picture) -> bytes:
    part = MIMEPart(policy=SMTP)
    part.set_content(
        picture.png,
        "image",
        "png",
        cid=f"<{picture.content_id}>",
        filename=picture.file_name,
        disposition="inline",
    )
    return part.as_bytes()


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
