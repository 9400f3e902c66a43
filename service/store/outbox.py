"""The outbox: messages written with the round, claimed with a lease, marked when delivered."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Connection, insert, or_, select, update

from service.store.tables import digest, outbox

LEASE = timedelta(seconds=60)


@dataclass(frozen=True)
class Message:
    """One message to one address, complete as it is to be sent."""

    id: int
    recipient_name: str
    channel: str
    address: str
    message: str


def add_digest(connection: Connection, recipient_name: str, now: datetime) -> int:
    """Keep that a digest is composed for a recipient; return its id."""
    return connection.execute(
        insert(digest).values(recipient_name=recipient_name, composed_at=now).returning(digest.c.id)
    ).scalar_one()


def add_message(
    connection: Connection, digest_id: int, channel: str, address: str, message: str, now: datetime
) -> None:
    """Put a message of a digest into the outbox."""
    connection.execute(
        insert(outbox).values(
            digest_id=digest_id,
            channel=channel,
            address=address,
            message=message,
            created_at=now,
            attempts=0,
        )
    )


def claim_message(connection: Connection, now: datetime) -> Message | None:
    """Claim the oldest message that waits; a claim lapses with its lease."""
    free = or_(outbox.c.leased_until.is_(None), outbox.c.leased_until <= now)
    row = connection.execute(
        select(outbox, digest.c.recipient_name)
        .join(digest)
        .where(outbox.c.delivered_at.is_(None), free)
        .order_by(outbox.c.id)
        .limit(1)
        .with_for_update(skip_locked=True, of=outbox)
    ).first()
    if row is None:
        return None
    connection.execute(
        update(outbox)
        .where(outbox.c.id == row.id)
        .values(leased_until=now + LEASE, attempts=outbox.c.attempts + 1)
    )
    return Message(row.id, row.recipient_name, row.channel, row.address, row.message)


def mark_delivered(connection: Connection, message_id: int, now: datetime) -> None:
    """Note that a message has been handed over."""
    connection.execute(
        update(outbox).where(outbox.c.id == message_id).values(delivered_at=now, leased_until=None)
    )
