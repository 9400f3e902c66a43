"""The outbox: messages written with the round, claimed with a lease, marked when handed over.

A lease is by the clock that all hosts share, so that no other takes a message over while it is
sent; everything else is by the clock of who sends.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

from sqlalchemy import ColumnElement, Connection, and_, exists, func, insert, or_, select, update

from service.store.among import among
from service.store.shared_clock import fetch_clock
from service.store.tables import digest, outbox, undelivered

LEASE = timedelta(seconds=60)
"""A claim that is not renewed lapses after that, unless the channel takes longer."""

LONGEST_WAIT = timedelta(days=2)
"""Nothing waits for longer; what seems to was written by a clock that was ahead."""

End = Literal["refused", "given up", "bounced", "dropped"]
MessageState = End | Literal["delivered", "held", "sending", "later", "waits"]
"""Held: its address is suspended. Later: it is tried again."""

_QUIET = "waits for the end of quiet hours"
_WAITS = and_(outbox.c.delivered_at.is_(None), outbox.c.ended.is_(None))
_IS_SUSPENDED = exists().where(
    undelivered.c.channel == outbox.c.channel,
    undelivered.c.address == outbox.c.address,
    undelivered.c.suspends,
    undelivered.c.lifted_at.is_(None),
)


@dataclass(frozen=True)
class Message:
    """One message to one address, complete as it is to be sent.

    message_id : "<left@right>", the same however often it is sent
    attempts : how often it was claimed, this time included
    """

    id: int
    recipient_name: str
    channel: str
    address: str
    message_id: str
    created_at: datetime
    attempts: int
    message: str


def add_digest(connection: Connection, recipient_name: str, now: datetime) -> int:
    """Keep that a digest is composed for a recipient; return its id."""
    return connection.execute(
        insert(digest).values(recipient_name=recipient_name, composed_at=now).returning(digest.c.id)
    ).scalar_one()


def add_message(
    connection: Connection,
    digest_id: int,
    channel: str,
    address: str,
    message_id: str,
    message: str,
    now: datetime,
) -> None:
    """Put a message of a digest into the outbox."""
    connection.execute(
        insert(outbox).values(
            digest_id=digest_id,
            channel=channel,
            address=address,
            message_id=message_id,
            message=message,
            created_at=now,
            attempts=0,
        )
    )


def fetch_due_channels(connection: Connection, now: datetime) -> set[str]:
    """Return the channels that have a message to claim."""
    due = _find_due(now, fetch_clock(connection))
    return {*connection.scalars(select(outbox.c.channel).where(*due).distinct())}


def claim_message(
    connection: Connection, channel: str, now: datetime, lease: timedelta = LEASE
) -> Message | None:
    """Claim the oldest message of a channel that is due; a claim lapses with its lease."""
    clock = fetch_clock(connection)
    oldest = (
        select(outbox.c.id)
        .where(outbox.c.channel == channel, *_find_due(now, clock))
        .order_by(outbox.c.id)
        .limit(1)
        .with_for_update(skip_locked=True)
    )
    reader = select(digest.c.recipient_name).where(digest.c.id == outbox.c.digest_id)
    columns = {**outbox.c, "recipient_name": reader.scalar_subquery().label("recipient_name")}
    row = connection.execute(
        update(outbox)
        .where(outbox.c.id == oldest.scalar_subquery())
        .values(leased_until=clock + lease, attempts=outbox.c.attempts + 1)
        .returning(*(columns[name] for name in Message.__dataclass_fields__))
    ).one_or_none()
    return None if row is None else Message(*row)


def _find_due(now: datetime, clock: datetime) -> list[ColumnElement[bool]]:
    waits = (outbox.c.leased_until, clock), (outbox.c.next_try_at, now)
    return [
        _WAITS,
        *(or_(until.is_(None), until <= at, until > at + LONGEST_WAIT) for until, at in waits),
        ~_IS_SUSPENDED,
    ]


def mark_delivered(connection: Connection, message_id: int, now: datetime, receipt: str) -> None:
    """Note that a message has been handed over, and what was said to it."""
    _set(
        connection,
        message_id,
        delivered_at=now,
        receipt=receipt,
        leased_until=None,
        next_try_at=None,
        failure=None,
    )


def put_back(connection: Connection, message: Message) -> None:
    """Take a claim back as if it had not been."""
    _set(connection, message.id, leased_until=None, attempts=message.attempts - 1)


def put_off(connection: Connection, message: Message, until: datetime, failure: str) -> None:
    """Note that a message was not handed over, and when it is tried again."""
    _set(connection, message.id, leased_until=None, next_try_at=until, failure=failure)


def put_off_for_quiet(connection: Connection, message: Message, until: datetime) -> None:
    """Note that a message waits for the end of its reader's quiet hours."""
    put_off(connection, message, until, _QUIET)


def let_quiet_go(connection: Connection, names: Collection[str]) -> None:
    """Let messages that wait for the end of quiet hours be tried at once: those hours may be other
    ones now.
    """
    of_readers = select(digest.c.id).where(among(digest.c.recipient_name, names))
    waits = _WAITS, outbox.c.failure == _QUIET, outbox.c.digest_id.in_(of_readers)
    connection.execute(update(outbox).where(*waits).values(next_try_at=None, failure=None))


def note_failure(connection: Connection, outbox_id: int, failure: str) -> None:
    """Note what went wrong with a message, which stays as it is."""
    _set(connection, outbox_id, failure=failure)


def end_message(
    connection: Connection,
    outbox_id: int,
    end: End,
    failure: str,
    now: datetime,
    person: str | None = None,
) -> None:
    """Note that a message is not sent any more, or has come back."""
    _set(
        connection,
        outbox_id,
        ended=end,
        ended_at=now,
        ended_by=person,
        failure=failure,
        leased_until=None,
        next_try_at=None,
    )


def send_again(connection: Connection, outbox_id: int) -> None:
    """Let a message wait as if it had not been tried, its Message-ID the same."""
    _set(
        connection,
        outbox_id,
        attempts=0,
        **dict.fromkeys(
            ("ended", "ended_at", "ended_by", "failure", "delivered_at", "receipt", "next_try_at")
        ),
    )


def fetch_messages(
    connection: Connection,
    outbox_ids: Sequence[int] = (),
    message_id: str | None = None,
    with_delivered: bool = True,
    recipient_name: str | None = None,
    latest: int | None = None,
    before: int | None = None,
    lock: bool = False,
) -> list[Any]:
    """Return messages as rows, each with its reader and whether its address is suspended; of one
    reader where that is named, and only so many of the latest, those before a number, where
    `latest` and `before` say so. With `lock` no one else changes them until the transaction ends.
    """
    query = select(outbox, digest.c.recipient_name, _IS_SUSPENDED.label("is_suspended")).join(
        digest
    )
    if outbox_ids:
        query = query.where(among(outbox.c.id, outbox_ids))
    if message_id is not None:
        query = query.where(outbox.c.message_id == message_id)
    if not with_delivered:
        query = query.where(or_(outbox.c.delivered_at.is_(None), outbox.c.ended.is_not(None)))
    if recipient_name is not None:
        query = query.where(digest.c.recipient_name == recipient_name)
    if before is not None:
        query = query.where(outbox.c.id < before)
    if lock:
        query = query.with_for_update(of=outbox)
    if latest is not None:
        return list(connection.execute(query.order_by(outbox.c.id.desc()).limit(latest)))[::-1]
    return list(connection.execute(query.order_by(outbox.c.id)))


@dataclass(frozen=True)
class Waiting:
    """How many messages are to be sent, and when the oldest of them was written."""

    count: int
    oldest_at: datetime | None


def fetch_waiting(connection: Connection) -> Waiting:
    """Return what waits."""
    query = select(func.count(), func.min(outbox.c.created_at)).where(_WAITS)
    return Waiting(*connection.execute(query).one())


def count_late(connection: Connection, since: datetime) -> int:
    """Return how many have waited since an instant, none for their reader's sake: those to a
    suspended address, or put off to the end of quiet hours, are left out."""
    is_quiet = and_(outbox.c.failure.is_not(None), outbox.c.failure == _QUIET)
    late = _WAITS, outbox.c.created_at < since, ~is_quiet, ~_IS_SUSPENDED
    return connection.scalar(select(func.count()).select_from(outbox).where(*late)) or 0


def count_ended(connection: Connection) -> dict[str, int]:
    """Return how many messages are sent no more, by how they ended."""
    query = select(outbox.c.ended, func.count()).where(outbox.c.ended.is_not(None))
    rows = connection.execute(query.group_by(outbox.c.ended).order_by(outbox.c.ended))
    return {row.ended: row[1] for row in rows}


def find_state(row: Any, now: datetime) -> MessageState:
    """Return how a message, a row of `fetch_messages`, stands."""
    if row.ended:
        return row.ended
    if row.delivered_at:
        return "delivered"
    if row.is_suspended:
        return "held"
    if row.leased_until and row.leased_until > now:
        return "sending"
    return "later" if row.next_try_at and row.next_try_at > now else "waits"


def _set(connection: Connection, outbox_id: int, **values: Any) -> None:
    connection.execute(update(outbox).where(outbox.c.id == outbox_id).values(**values))
