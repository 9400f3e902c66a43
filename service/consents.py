"""Ask each address that messages really go to, once and first, whether they are wanted."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from email.utils import make_msgid

from sqlalchemy import Connection

from alerts.addresses import parse_address
from alerts.consent import compose_request, compose_request_sms
from alerts.mail import compose_mail
from service.channels.choosing import is_real
from service.links import Links
from service.settings import Settings
from service.store.consents import Consent, ensure_consent, fetch_consents, mark_asked
from service.store.outbox import add_digest, add_message
from service.store.recipients import Recipient


def may_be_told(consent: Consent, settings: Settings) -> bool:
    """Whether messages may go to an address; a file reaches no one and asks for no consent."""
    if consent.state == "stopped":
        return False
    return consent.state == "confirmed" or not is_real(consent.channel, settings)


def may_reach(
    known: Mapping[tuple[str, str, str], Consent],
    recipient: Recipient,
    channel: str,
    address: str,
    settings: Settings,
) -> bool:
    """Whether messages may go to an address, of which nothing need be known yet."""
    consent = known.get((recipient.name, channel, address))
    return may_be_told(consent, settings) if consent else not is_real(channel, settings)


def find_unasked(
    connection: Connection, recipients: Iterable[Recipient], settings: Settings
) -> list[tuple[Recipient, str, str]]:
    """Return reader, channel and address wherever someone is to be asked first."""
    known = fetch_consents(connection)
    return [
        (recipient, channel, address)
        for recipient in recipients
        for channel, address in recipient.addresses
        if is_real(channel, settings)
        and (
            (one := known.get((recipient.name, channel, address))) is None
            or one.state == "not asked"
        )
    ]


def ask(
    connection: Connection,
    recipient: Recipient,
    channel: str,
    address: str,
    organisation: str,
    settings: Settings,
    now: datetime,
) -> None:
    """Put the request for consent into the outbox, and note that an address was asked.

    One that wants nothing more is not asked.
    """
    links = Links(settings)
    consent = ensure_consent(connection, recipient.name, channel, address)
    if consent.state == "stopped":
        return
    said = organisation, recipient.language, links.write_code(consent), links.write(consent)
    message_id = make_msgid(domain=parse_address(settings.mail_from).domain)
    if channel == "sms":
        can_answer = bool(settings.texts_secret.get_secret_value())
        message = compose_request_sms(*said, can_answer)
    else:
        letter = compose_request(*said)
        message = compose_mail(letter, settings.mail_from, address, now, message_id).decode()
    digest_id = add_digest(connection, recipient.name, now)
    add_message(connection, digest_id, channel, address, message_id, message, now)
    mark_asked(connection, consent, now)
