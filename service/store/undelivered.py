"""What does not arrive: kept, and told to the coordinators; addresses that are suspended."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, insert, select, update

from alerts.undelivered import Undelivered
from service.store.among import among
from service.store.tables import recipient, undelivered, undelivered_recipient


@dataclass(frozen=True)
class Suspension:
    """An address to which nothing is sent until someone lifts that."""

    recipient_name: str
    channel: str
    address: str
    noticed_at: datetime
    why: str


_STANDS = undelivered.c.suspends, undelivered.c.lifted_at.is_(None)


def fetch_suspensions(connection: Connection) -> dict[tuple[str, str], Suspension]:
    """Return the addresses that are suspended, by channel and address."""
    columns = [undelivered.c[name] for name in Suspension.__dataclass_fields__]
    query = select(*columns).where(*_STANDS).order_by(undelivered.c.id)
    found = (Suspension(*row) for row in connection.execute(query))
    return {(one.channel, one.address): one for one in found}


def add_undelivered(
    connection: Connection,
    recipient_name: str,
    channel: str,
    address: str,
    why: str,
    now: datetime,
    suspends: bool,
    outbox_id: int | None = None,
) -> None:
    """Keep that a message does not arrive; the coordinators are to be told.

    Where it suspends its address, that is done and told once.
    """
    if suspends and (channel, address) in fetch_suspensions(connection):
        return
    row = {
        "recipient_name": recipient_name,
        "channel": channel,
        "address": address,
        "why": why,
        "noticed_at": now,
        "suspends": suspends,
        "outbox_id": outbox_id,
    }
    made = insert(undelivered).values(row).returning(undelivered.c.id)
    number = connection.execute(made).scalar_one()
    is_coordinator = recipient.c.role == "coordinator", recipient.c.retired_at.is_(None)
    for name in connection.scalars(select(recipient.c.name).where(*is_coordinator)).all():
        told = {"undelivered_id": number, "recipient_name": name}
        connection.execute(insert(undelivered_recipient).values(told))


def lift_suspension(
    connection: Connection, address: str, person: str, now: datetime
) -> list[Suspension]:
    """Let messages go to an address again; return what is lifted, which may be nothing."""
    lifted = [one for one in fetch_suspensions(connection).values() if one.address == address]
    connection.execute(
        update(undelivered)
        .where(*_STANDS, undelivered.c.address == address)
        .values(lifted_at=now, lifted_by=person)
    )
    return lifted


def fetch_waiting_undelivered(
    connection: Connection,
) -> dict[str, list[tuple[int, Undelivered]]]:
    """Return, per coordinator, what no digest tells yet, with its number."""
    query = (
        select(undelivered, undelivered_recipient.c.recipient_name.label("told"))
        .join(undelivered_recipient)
        .where(undelivered_recipient.c.digest_id.is_(None))
        .order_by(undelivered_recipient.c.recipient_name, undelivered.c.id)
    )
    waiting: dict[str, list[tuple[int, Undelivered]]] = defaultdict(list)
    for row in connection.execute(query):
        told = Undelivered(
            row.recipient_name,
            row.channel,
            row.address,
            row.why,
            is_suspended=row.suspends and row.lifted_at is None,
        )
        waiting[row.told].append((row.id, told))
    return waiting


def mark_undelivered_composed(
    connection: Connection, recipient_name: str, numbers: Collection[int], digest_id: int
) -> None:
    """Note that a digest tells these to a coordinator."""
    connection.execute(
        update(undelivered_recipient)
        .where(
            undelivered_recipient.c.recipient_name == recipient_name,
            among(undelivered_recipient.c.undelivered_id, numbers),
        )
        .values(digest_id=digest_id)
    )
