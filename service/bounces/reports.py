"""What a delivery status notification says [RFC-3464], recipient by recipient."""

from __future__ import annotations

import re
from dataclasses import dataclass
from email import message_from_bytes
from email.message import Message
from typing import Any

from service.channels.smtp_replies import Verdict, judge_reply, judge_status

_STATUS = re.compile(r"[245]\.\d{1,3}\.\d{1,3}")
_REPLY = re.compile(r"\b([45]\d\d)[ -]+(.*)")
SHOWN_CHARACTERS = 300


@dataclass(frozen=True)
class Bounce:
    """What became of one mail to one address.

    message_id : of the mail that it is about; None: it does not say
    addresses : where it was to go, and where that led
    failed : whether it is given up; False: it is late
    verdict : of a failure, what it means
    said : by the server that reports it, or by the one that refused
    """

    message_id: str | None
    addresses: frozenset[str]
    failed: bool
    verdict: Verdict
    said: str


def read_report(letter: bytes) -> list[Bounce] | None:
    """Return what a letter reports as failed or late; None where it is no such report."""
    mail = message_from_bytes(letter)
    if mail.get_content_type() != "multipart/report" or not mail.is_multipart():
        return None
    parts: Any = mail.get_payload()
    reports = [part for part in parts if part.get_content_type() == "message/delivery-status"]
    if not reports or not reports[0].is_multipart():
        return None
    message_id = next(filter(None, map(_find_message_id, parts)), None)
    recipients = reports[0].get_payload()[1:]  # the first block is about the report itself
    return list(filter(None, (_read(fields, message_id) for fields in recipients)))


def _find_message_id(part: Message) -> str | None:
    """Return the Message-ID of the mail that a part holds, or the beginning of."""
    kind = part.get_content_type()
    if kind in ("message/rfc822", "message/global") and part.is_multipart():
        original: Any = part.get_payload(0)
    elif kind in ("text/rfc822-headers", "message/global-headers"):
        body: Any = part.get_payload(decode=True)
        original = message_from_bytes(body) if body else part
    else:
        return None
    return "".join(str(original["Message-ID"] or "").split()) or None


def _read(fields: Message, message_id: str | None) -> Bounce | None:
    """Return what the fields of one recipient say, if that is a failure or a delay."""
    action = str(fields["Action"] or "").strip().lower()
    if action not in ("failed", "delayed"):
        return None
    diagnostic = _value(fields["Diagnostic-Code"])
    found = _STATUS.search(str(fields["Status"] or ""))
    status = found[0] if found else ""
    addresses = {_value(fields[name]).lower() for name in ("Original-Recipient", "Final-Recipient")}
    said = diagnostic or status or "no reason given"
    return Bounce(
        message_id,
        frozenset(addresses - {""}),
        action == "failed",
        _judge(status, diagnostic),
        said[:SHOWN_CHARACTERS],
    )


def _judge(status: str, diagnostic: str) -> Verdict:
    """Return what a failure means; what the refusing server said where the status says little."""
    if status and not status.endswith(".0.0"):
        return judge_status(status)
    reply = _REPLY.search(diagnostic)
    return judge_reply("address", int(reply[1]), reply[2]) if reply else "passing"


def _value(field: object) -> str:
    """Return a field without its type, as "rfc822; ada@example.org", in one line."""
    text = " ".join(str(field or "").split())
    kind, separator, value = text.partition(";")
    shown = value if separator and kind.strip().isascii() else text
    return "".join(character for character in shown.strip() if character.isprintable())
