"""Messages as their readers see them: a mail in a frame in which nothing runs, and plain text."""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass
from email import message_from_string
from email.message import EmailMessage
from email.parser import HeaderParser
from email.policy import default

from fastapi.responses import HTMLResponse

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
        "form-action 'none'; frame-ancestors 'self'; sandbox"
    ),
    "X-Frame-Options": "SAMEORIGIN",
}
"""Of a mail: its styles stand within it, as mail programs want them."""


@dataclass(frozen=True)
class ShownMail:
    """A mail as it is read, its pictures within the HTML; `html` is empty where it has none."""

    subject: str
    text: str
    html: str


def answer_letter(html: str) -> HTMLResponse:
    """Answer with a letter as HTML, for a frame."""
    return HTMLResponse(html, headers=HEADERS)


def read_subject(message: str) -> str:
    """Return the subject of a mail of the outbox; nothing else of it is read."""
    return f"{HeaderParser(policy=default).parsestr(message, headersonly=True)['Subject'] or ''}"


def read_mail(message: str) -> ShownMail:
    """Return a mail of the outbox as it is read."""
    mail = message_from_string(message, _class=EmailMessage, policy=default)
    plain, rich = mail.get_body(("plain",)), mail.get_body(("html",))
    html = rich.get_content() if rich else ""
    for part in mail.walk():
        content_id = f"{part.get('Content-ID', '')}".strip("<> ")
        if content_id and part.get_content_maintype() == "image":
            image = b64encode(part.get_content()).decode()
            kind = part.get_content_type()
            html = html.replace(f"cid:{content_id}", f"data:{kind};base64,{image}")
    return ShownMail(f"{mail['Subject'] or ''}", plain.get_content() if plain else "", html)
