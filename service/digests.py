"""Compose what waits to be told: one digest per recipient, a message per channel of theirs."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from email.utils import make_msgid
from zoneinfo import ZoneInfo

from sqlalchemy import Connection, select

from alerts.digest import Reader, compose_digest
from alerts.mail import compose_mail
from alerts.sms import compose_sms
from service.outlooks import fetch_expected
from service.store.notices import fetch_waiting, mark_composed
from service.store.outbox import add_digest, add_message
from service.store.recipients import Recipient, fetch_recipients
from service.store.silences import fetch_waiting_silences, mark_silences_composed
from service.store.tables import organisation


def compose_waiting(
    connection: Connection, sender: str, now: datetime, as_of: date | None, at_their_hour: bool
) -> int:
    """Compose a digest for each recipient whom something waits for; return how many.

    At their hour: only once that hour has come in their zone, and once a local day. A digest as of
    another day leaves silences waiting: they are of today.
    """
    count = 0
    name = connection.scalar(select(organisation.c.name)) or ""
    waiting = fetch_waiting(connection)
    waiting_silences = fetch_waiting_silences(connection) if as_of is None else {}
    names = sorted({*waiting, *waiting_silences})
    recipients = fetch_recipients(connection) if names else {}
    for recipient_name in names:
        recipient = recipients.get(recipient_name)
        if recipient is None or (at_their_hour and not _is_their_hour(recipient, now)):
            continue
        reader = Reader(recipient.name, recipient.language, recipient.unit, name)
        day = as_of or now.astimezone(ZoneInfo(recipient.timezone)).date() - timedelta(days=1)
        notices = dict(waiting.get(recipient_name, ()))
        silences = dict(waiting_silences.get(recipient_name, ()))
        told = list(notices.values()), reader, day, list(silences.values())
        block_ids = {one.block_id for one in notices.values()}
        expected = fetch_expected(connection, block_ids, day)
        digest_id = add_digest(connection, recipient.name, now)
        for channel, address in recipient.addresses:
            if channel == "sms":
                message = compose_sms(*told)
            else:
                digest = compose_digest(*told, expected)
                message_id = make_msgid(domain="digseason.invalid")
                mail = compose_mail(digest, sender, address, now, message_id)
                message = mail.decode("utf-8")
            add_message(connection, digest_id, channel, address, message, now)
        mark_composed(connection, recipient.name, notices, digest_id)
        mark_silences_composed(connection, recipient.name, silences, digest_id)
        count += 1
    return count


def _is_their_hour(recipient: Recipient, now: datetime) -> bool:
    zone = ZoneInfo(recipient.timezone)
    local, last = now.astimezone(zone), recipient.last_digest_at
    told_today = last is not None and last.astimezone(zone).date() == local.date()
    return local.hour >= recipient.hour and not told_today
