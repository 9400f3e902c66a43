"""Messages as pages and answers show them: a mail in a frame in which nothing runs, and plain text.

Who may read that a message went out need not be who reads the mailbox, or the phone, that it went
to: no link or code by which one answers or signs in is shown.
"""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass
from email import message_from_string
from email.message import EmailMessage
from email.parser import HeaderParser
from email.policy import default
from textwrap import shorten

from fastapi.responses import HTMLResponse

from service.links import hide_secrets

BEGIN_OF_TEXT = 70

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
        "form-action 'none'; frame-ancestors 'self'; sandbox"
    ),
    "X-Frame-Options": "SAMEORIGIN",
}
"""Of a mail: its styles stand within it, as mail programs want them."""


@dataclass(frozen=True)
class ShownMessage:
    """A message as it is read, its pictures within the HTML; `html` is empty where it has none, and
    a text has no subject.
    """

    subject: str | None
    text: str
    html: str = ""


def answer_letter(html: str) -> HTMLResponse:
    """Answer with a letter as HTML, for a frame."""
    return HTMLResponse(html, headers=HEADERS)


def read_beginning(channel: str, message: str) -> str:
    """Return the subject of a mail of the outbox, of which nothing else is read, or how a text
    begins.
    """
    if channel == "mail":
        headers = HeaderParser(policy=default).parsestr(message, headersonly=True)
        return f"{headers['Subject'] or ''}"
    return shorten(hide_secrets(message), BEGIN_OF_TEXT, placeholder=" ...")


def read_message(channel: str, message: str) -> ShownMessage:
    """Return a message of the outbox as it is read."""
    if channel != "mail":
        return ShownMessage(None, hide_secrets(message))
    mail = message_from_string(message, _class=EmailMessage, policy=default)
    plain, rich = mail.get_body(("plain",)), mail.get_body(("html",))
    text = hide_secrets(plain.get_content()) if plain else ""
    html = hide_secrets(rich.get_content()) if rich else ""
    for part in mail.walk():
        content_id = f"{part.get('Content-ID', '')}".strip("<> ")
        if content_id and part.get_content_maintype() == "image":
            image = b64encode(part.get_content()).decode()
            kind = part.get_content_type()
            html = html.replace(f"cid:{content_id}", f"data:{kind};base64,{image}")
    return ShownMessage(f"{mail['Subject'] or ''}", text, html)
