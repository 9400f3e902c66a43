"""Whether those who are told want to be: asked, confirmed and stopped, by address."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from sqlalchemy import Connection, insert, select, update

from service.store.forgetting import fetch_forgotten_since
from service.store.tables import address_consent, digest, outbox

State = Literal["not asked", "asked", "confirmed", "stopped"]


@dataclass(frozen=True)
class Consent:
    """How it stands with one address of a reader."""

    id: int
    recipient_name: str
    channel: str
    address: str
    asked_at: datetime | None
    confirmed_at: datetime | None
    confirmed_by: str | None
    confirmed_why: str | None
    stopped_at: datetime | None
    stopped_how: str | None

    @property
    def state(self) -> State:
        """How it stands, in a word."""
        if self.stopped_at:
            return "stopped"
        if self.confirmed_at:
            return "confirmed"
        return "asked" if self.asked_at else "not asked"


_COLUMNS = [address_consent.c[name] for name in Consent.__dataclass_fields__]


def fetch_consent(connection: Connection, number: int) -> Consent | None:
    """Return a consent by its number."""
    query = select(*_COLUMNS).where(address_consent.c.id == number)
    row = connection.execute(query).one_or_none()
    return None if row is None else Consent(*row)


def fetch_consents(connection: Connection) -> dict[tuple[str, str, str], Consent]:
    """Return all consents by reader, channel and address."""
    found = (Consent(*row) for row in connection.execute(select(*_COLUMNS)))
    return {(one.recipient_name, one.channel, one.address): one for one in found}


def ensure_consent(
    connection: Connection, recipient_name: str, channel: str, address: str
) -> Consent:
    """Return the consent of an address, of which nothing need be known yet.

    It stays so until this transaction ends: who says stop meanwhile waits, and then drops what it
    has composed. Where its reader was forgotten it is stopped from the beginning.
    """
    key = {"recipient_name": recipient_name, "channel": channel, "address": address}
    where = [address_consent.c[name] == value for name, value in key.items()]
    query = select(*_COLUMNS).where(*where).with_for_update(key_share=True)
    row = connection.execute(query).one_or_none()
    if row is None:
        since = fetch_forgotten_since(connection, channel, address)
        stopped = {"stopped_at": since, "stopped_how": "asked to be forgotten"} if since else {}
        made = insert(address_consent).values(key | stopped).returning(*_COLUMNS)
        row = connection.execute(made).one()
    return Consent(*row)


def mark_asked(connection: Connection, consent: Consent, now: datetime) -> None:
    """Note that an address was asked."""
    _set(connection, consent, asked_at=now)


def confirm(connection: Connection, consent: Consent, person: str, why: str, now: datetime) -> None:
    """Let messages go to an address, one that was stopped too; what is so already stays."""
    if consent.state != "confirmed":
        said = {"confirmed_at": now, "confirmed_by": person, "confirmed_why": why}
        _set(connection, consent, **said, stopped_at=None, stopped_how=None)


def stop(connection: Connection, consent: Consent, how: str, now: datetime) -> None:
    """Let no more messages go to an address; those of its reader that wait are dropped."""
    if consent.stopped_at:
        return
    _set(connection, consent, stopped_at=now, stopped_how=how)
    of_reader = select(digest.c.id).where(digest.c.recipient_name == consent.recipient_name)
    connection.execute(
        update(outbox)
        .where(
            outbox.c.digest_id.in_(of_reader),
            outbox.c.channel == consent.channel,
            outbox.c.address == consent.address,
            outbox.c.delivered_at.is_(None),
            outbox.c.ended.is_(None),
        )
        .values(
            ended="dropped",
            ended_at=now,
            ended_by=consent.recipient_name,
            failure=f"wants no more messages: {how}",
            leased_until=None,
            next_try_at=None,
        )
    )


def _set(connection: Connection, consent: Consent, **values: Any) -> None:
    of_one = address_consent.c.id == consent.id
    connection.execute(update(address_consent).where(of_one).values(**values))
