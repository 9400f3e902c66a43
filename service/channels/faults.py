"""What the settings of mail and texts must agree on, each fault with the setting and a remedy."""

from __future__ import annotations

import json
from collections.abc import Iterator
from ipaddress import ip_address
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from alerts.addresses import parse_address
from service.channels.templates import PLACES, escape_for, fill, find_places, find_type

if TYPE_CHECKING:
    from service.settings import Settings

NO_SENDER = "Digseason <digseason@localhost>"


def check_sender(text: str) -> str:
    """Refuse a sender that cannot be written into a mail."""
    parse_address(text)
    return text


def find_sending_faults(s: Settings) -> Iterator[str]:
    """Yield what is wrong; no value that may hold a password is shown."""
    yield from _find_smtp_faults(s)
    if s.sms_url and s.sms_mail_to:
        yield "DIGSEASON_SMS_URL and DIGSEASON_SMS_MAIL_TO: texts take one way; leave one out"
    if s.sms_mail_to:
        yield from _find_mail_to_faults(s)
    if s.sms_url:
        yield from _find_gateway_faults(s)


def _find_smtp_faults(s: Settings) -> Iterator[str]:
    if not s.smtp_host:
        if s.smtp_user or s.smtp_port:
            yield "DIGSEASON_SMTP_HOST is missing: write the name of the mail server"
        return
    if s.mail_from == NO_SENDER:
        yield "DIGSEASON_MAIL_FROM is missing: write the address that mails come from"
    if not s.smtp_host.isascii() or not all(s.smtp_host.split(".")):
        yield "DIGSEASON_SMTP_HOST: write the name of the mail server, such as mail.example.org"
    if s.smtp_security == "none" and not is_near(s.smtp_host, "is_loopback"):
        yield (
            "DIGSEASON_SMTP_SECURITY = none: only for a server on this machine; "
            "write starttls or tls"
        )
    password = s.smtp_password.get_secret_value()
    if bool(s.smtp_user) != bool(password):
        missing = "PASSWORD" if s.smtp_user else "USER"
        yield f"DIGSEASON_SMTP_{missing} is missing: a login has a user and a password"
    for name, value in (("USER", s.smtp_user), ("PASSWORD", password)):
        if not _is_line(value):
            yield f"DIGSEASON_SMTP_{name}: is not one line of ASCII, which alone a login can carry"


def _find_mail_to_faults(s: Settings) -> Iterator[str]:
    if not s.smtp_host:
        yield "DIGSEASON_SMS_MAIL_TO needs a mail server: set DIGSEASON_SMTP_HOST"
    example = "write it like {digits}@sms.example.org"
    if not find_places(s.sms_mail_to) & {"to", "digits"}:
        yield f"DIGSEASON_SMS_MAIL_TO: holds no number; {example}"
        return
    try:
        parse_address(fill(s.sms_mail_to, {"to": "+61491570156", "digits": "61491570156"}))
    except (KeyError, ValueError):
        yield f"DIGSEASON_SMS_MAIL_TO: makes no mail address; {example}"


def _find_gateway_faults(s: Settings) -> Iterator[str]:
    try:
        parts = urlsplit(s.sms_url)
        host = parts.hostname or ""
        _ = parts.port
    except ValueError:
        host, parts = "", urlsplit("")
    if parts.scheme not in ("http", "https") or not host or find_places(host):
        yield "DIGSEASON_SMS_URL: write an address that begins with https:// and the gateway's name"
    elif parts.scheme == "http" and not is_near(host, "is_private"):
        yield (
            "DIGSEASON_SMS_URL: begins with http://, by which anyone on the way reads the texts; "
            "write https://, or the address of a gateway in your own network"
        )
    templates = {"URL": s.sms_url, "BODY": s.sms_body, "HEADERS": " ".join(s.sms_headers.values())}
    for name, template in templates.items():
        for unknown in sorted(find_places(template) - set(PLACES)):
            yield (
                f"DIGSEASON_SMS_{name}: there is no place {{{unknown}}}; the places are "
                f"{', '.join(f'{{{place}}}' for place in PLACES)}"
            )
            return
    for name, value in s.sms_headers.items():
        if not _is_line(name + value) or value != value.strip() or "{text}" in value:
            yield (
                "DIGSEASON_SMS_HEADERS: a header is one line of ASCII, without blanks around it "
                "and without {text}"
            )
    for name, value in (("SECRET", s.sms_secret.get_secret_value()), ("SENDER", s.sms_sender)):
        if not _is_line(value) or value != value.strip():  # a line break from its file, say
            yield (
                f"DIGSEASON_SMS_{name}: is not one line of ASCII without blanks around it, which "
                "alone a header can carry"
            )
    in_message = find_places(s.sms_url) | find_places(s.sms_body)
    if not in_message & {"to", "digits"} or "text" not in in_message:
        yield "DIGSEASON_SMS_BODY, or DIGSEASON_SMS_URL, must hold {to} or {digits}, and {text}"
    if s.sms_body and s.sms_method == "GET":
        yield "DIGSEASON_SMS_METHOD = GET has no body: put all into DIGSEASON_SMS_URL"
    content_type = next(
        (value for name, value in s.sms_headers.items() if name.lower() == "content-type"),
        find_type(s.sms_body),
    )
    if s.sms_body and "json" in content_type:
        try:
            json.loads(fill(s.sms_body, dict.fromkeys(PLACES, "1"), escape_for(content_type)))
        except ValueError as error:
            yield f"DIGSEASON_SMS_BODY: is no JSON: {error}"


def _is_line(text: str) -> bool:
    return text.isascii() and text.isprintable()


def is_near(host: str, how: str) -> bool:
    """Whether a host is this machine, or an address of the kind `how` says."""
    if host == "localhost":
        return True
    try:
        return getattr(ip_address(host), how)
    except ValueError:
        return False
