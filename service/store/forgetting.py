"""All that the store holds of a person, who is told or signs in: for them, and taken out of it.

What it holds is found by the tables themselves: whatever refers to a reader, was sent to them, came
from their phone, or was said by someone of their name. A new table is found as well.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Collection, Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Column, Connection, Table, Text, delete, func, insert, or_, select, update

from service.store.tables import (
    account,
    account_district,
    account_site,
    address_consent,
    attempt,
    audit,
    digest,
    dug,
    forgotten_address,
    metadata,
    notice,
    notice_recipient,
    outbox,
    recipient,
    recipient_block,
    recipient_quiet,
    recipient_scope,
    session,
    text_received,
    token,
    undelivered,
    undelivered_recipient,
    upload,
)

Rows = list[dict[str, Any]]

_WANTS = recipient_scope, recipient_block, recipient_quiet, dug, address_consent
"""What goes with its reader, and says nothing without them."""


_SECRETS = {"password", "secret", "hash", "sha256"}


def fetch_person(connection: Connection, name: str) -> dict[str, Rows]:
    """Return every row that is about a reader, by table; nothing where there is no such reader."""
    if connection.scalar(select(recipient.c.name).where(recipient.c.name == name)) is None:
        return {}
    mail = connection.scalars(select(account.c.email).where(account.c.recipient_name == name))
    names = [name, *mail]
    told = select(notice_recipient.c.notice_id).where(notice_recipient.c.recipient_name == name)
    of_table = [
        (recipient, recipient.c.name == name),
        *((column.table, column == name) for column in _find_references(recipient.c.name)),
        (outbox, outbox.c.digest_id.in_(_digests_of(name))),
        (notice, notice.c.id.in_(told)),
        (text_received, text_received.c.phone.in_(_fetch_addresses(connection, name))),
        *((table, _said_by(table, names)) for table in _find_signed()),
    ]
    return _fetch_rows(connection, of_table)


def _fetch_rows(connection: Connection, of_table: Iterable[tuple[Table, Any]]) -> dict[str, Rows]:
    """Return the rows of tables where something holds, each once and without secrets."""
    found: dict[str, Rows] = {}
    for table, where in of_table:
        query = select(table).where(where).order_by(*table.primary_key)
        rows = [_without_secrets(row._asdict()) for row in connection.execute(query)]
        known = found.setdefault(table.name, [])
        known += [row for row in rows if row not in known]
    return {name: rows for name, rows in found.items() if rows}


def forget_person(connection: Connection, name: str, now: datetime) -> tuple[str, list[str]]:
    """Take a reader out of the store; return what stands in their place, and receipts of messages.

    What hangs together stays: what was told, when, and what was said on readings, by someone
    without a name. Addresses stay as a hash, by which they are never written to again unasked. The
    caller holds the write transaction, and knows that there is such a reader.
    """
    nobody = f"forgotten {_count_forgotten(connection) + 1}"
    addresses = _fetch_addresses(connection, name)
    role = connection.scalar(select(recipient.c.role).where(recipient.c.name == name))
    connection.execute(insert(recipient).values(_nobody(nobody, role, now)))
    for place in sorted(_fetch_places(connection, name)):
        _keep_hash(connection, *place, now)
    for table in _WANTS:
        connection.execute(delete(table).where(table.c.recipient_name == name))
    receipts = _empty_messages(connection, name, addresses, now)
    _close_accounts(connection, name, nobody, now)
    connection.execute(update(audit).where(audit.c.about == name).values(about=nobody))
    connection.execute(delete(attempt).where(attempt.c.of.in_([name, *addresses])))
    for column in _find_references(recipient.c.name):
        connection.execute(update(column.table).where(column == name).values({column: nobody}))
    for table in _find_signed():
        for column in _find_signatures(table):
            connection.execute(update(table).where(column == name).values({column: nobody}))
    connection.execute(delete(recipient).where(recipient.c.name == name))
    return nobody, receipts


def find_reader(connection: Connection, called: str) -> str | None:
    """Return the name of the reader that is called so, or who signs in by that address."""
    name = select(recipient.c.name).where(recipient.c.name == called)
    of_account = select(account.c.recipient_name).where(account.c.email == called)
    return connection.scalar(name) or connection.scalar(of_account)


def fetch_account_rows(connection: Connection, email: str) -> dict[str, Rows]:
    """Return every row that is about an account, by table; nothing where there is no such one."""
    found = connection.execute(select(account).where(account.c.email == email)).one_or_none()
    if found is None:
        return {}
    names = [email, *_own_name(connection, found)]
    of_table = [
        (account, account.c.id == found.id),
        *((column.table, column == found.id) for column in _find_references(account.c.id)),
        (audit, or_(audit.c.who == email, audit.c.about == email)),
        *((table, _said_by(table, names)) for table in _find_signed()),
    ]
    return _fetch_rows(connection, of_table)


def forget_account(connection: Connection, email: str, now: datetime) -> str:
    """Take one who signs in, and is told of nothing, out of the store; return what stands for them.

    What they did stays, by someone without a name. The caller holds the write transaction, and
    knows that there is such an account.
    """
    found = connection.execute(select(account).where(account.c.email == email)).one()
    nobody = f"forgotten account {found.id}"
    for name in _own_name(connection, found):
        for table in _find_signed():
            for column in _find_signatures(table):
                connection.execute(update(table).where(column == name).values({column: nobody}))
    for table in (account_site, account_district, token, upload):
        connection.execute(delete(table).where(table.c.account_id == found.id))
    _close_account(connection, found.id, email, nobody, nobody, now)
    return nobody


def _own_name(connection: Connection, found: Any) -> list[str]:
    """Return the name of an account, unless another person is called the same."""
    others = select(account.c.id).where(account.c.name == found.name, account.c.id != found.id)
    readers = select(recipient.c.name).where(recipient.c.name == found.name)
    is_shared = connection.scalar(others) is not None or connection.scalar(readers) is not None
    return [] if is_shared else [found.name]


def fetch_forgotten_since(connection: Connection, channel: str, address: str) -> datetime | None:
    """Return when the reader of an address was forgotten; None: that was not done."""
    salt = connection.scalar(select(forgotten_address.c.salt).limit(1))
    if salt is None:
        return None
    of_address = forgotten_address.c.hash == _hash(channel, address, salt)
    return connection.scalar(select(forgotten_address.c.forgotten_at).where(of_address))


def _keep_hash(connection: Connection, channel: str, address: str, now: datetime) -> None:
    if fetch_forgotten_since(connection, channel, address):
        return
    salt = connection.scalar(select(forgotten_address.c.salt).limit(1)) or secrets.token_hex(16)
    row = {"hash": _hash(channel, address, salt), "salt": salt, "forgotten_at": now}
    connection.execute(insert(forgotten_address).values(row))


def _hash(channel: str, address: str, salt: str) -> str:
    """Return a hash that takes long, as the phones of a country can all be tried. [RFC-7914]"""
    key = f"{channel}:{address.casefold()}".encode()
    return hashlib.scrypt(key, salt=bytes.fromhex(salt), n=2**14, r=8, p=1, dklen=32).hex()


def _nobody(name: str, role: str | None, now: datetime) -> dict[str, Any]:
    told = {"channels": [], "language": "en", "unit": "F", "hour": 0, "all_blocks": False}
    return {"name": name, "role": role, "retired_at": now, **told}


def _count_forgotten(connection: Connection) -> int:
    of_all = select(func.count()).where(recipient.c.name.like("forgotten %"))
    return connection.scalar(of_all) or 0


def _fetch_places(connection: Connection, name: str) -> set[tuple[str, str]]:
    """Return channel and address wherever a reader is or was told."""
    row = connection.execute(select(recipient).where(recipient.c.name == name)).one()
    places = {("mail", row.email), ("sms", row.phone)}
    for table, where in (
        (address_consent, address_consent.c.recipient_name == name),
        (undelivered, undelivered.c.recipient_name == name),
        (outbox, outbox.c.digest_id.in_(_digests_of(name))),
    ):
        query = select(table.c.channel, table.c.address).where(where).distinct()
        places |= {(one.channel, one.address) for one in connection.execute(query)}
    return {(channel, address) for channel, address in places if address}


def _fetch_addresses(connection: Connection, name: str) -> list[str]:
    return sorted({address for _channel, address in _fetch_places(connection, name)})


def _empty_messages(
    connection: Connection, name: str, addresses: Collection[str], now: datetime
) -> list[str]:
    """Take out what was written to a reader and by them, and what told others of their address."""
    theirs = outbox.c.digest_id.in_(_digests_of(name))
    waits = outbox.c.delivered_at.is_(None), outbox.c.ended.is_(None)
    receipts = connection.scalars(select(outbox.c.receipt).where(theirs)).all()
    ended = {"ended": "dropped", "ended_at": now, "leased_until": None, "next_try_at": None}
    connection.execute(update(outbox).where(theirs, *waits).values(ended))
    gone = {"address": "", "message": "", "receipt": None, "failure": None}
    connection.execute(update(outbox).where(theirs).values(gone))
    not_arrived = undelivered.c.recipient_name == name
    told = (
        select(undelivered_recipient.c.digest_id)
        .join(undelivered)
        .where(not_arrived, undelivered_recipient.c.digest_id.is_not(None))
    )
    was_sent = outbox.c.delivered_at.is_not(None)
    connection.execute(
        update(outbox).where(outbox.c.digest_id.in_(told), was_sent).values(message="")
    )
    connection.execute(update(undelivered).where(not_arrived).values(address="", why=""))
    connection.execute(
        update(text_received)
        .where(text_received.c.phone.in_(addresses))
        .values(phone="", text="", answer=None)
    )
    return [receipt for receipt in receipts if receipt]


def _close_accounts(connection: Connection, name: str, nobody: str, now: datetime) -> None:
    """Let no one sign in as a reader any more; what was done stays, by someone without a name."""
    query = select(account.c.id, account.c.email).where(account.c.recipient_name == name)
    for account_id, email in connection.execute(query).all():
        _close_account(connection, account_id, email, f"{nobody} {account_id}", nobody, now)


def _close_account(
    connection: Connection, account_id: int, email: str, address: str, nobody: str, now: datetime
) -> None:
    """Let no one sign in to an account; `address` stands for its own, which is never mailed to."""
    of_one = account.c.id == account_id
    gone = {"email": address, "name": nobody, "password_hash": None}
    connection.execute(update(account).where(of_one).values(**gone, revoked_at=now))
    connection.execute(delete(session).where(session.c.account_id == account_id))
    connection.execute(delete(attempt).where(attempt.c.of == email))
    connection.execute(update(audit).where(audit.c.who == email).values(about=""))  # from where
    signed = (column for table in _find_signed() for column in _find_signatures(table))
    for column in (audit.c.who, audit.c.about, *signed):
        named = update(column.table).where(column == email)
        connection.execute(named.values({column: nobody}))


def _without_secrets(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return a row without what signs its person in."""
    return {name: value for name, value in row.items() if not _SECRETS & set(name.split("_"))}


def _digests_of(name: str) -> Any:
    return select(digest.c.id).where(digest.c.recipient_name == name)


def _find_references(key: Column[Any]) -> Iterator[Column[Any]]:
    """Yield the columns that name a reader or an account, by its key."""
    for table in metadata.sorted_tables:
        yield from (one for one in table.columns if one.references(key))


def _find_signed() -> list[Table]:
    return [table for table in metadata.sorted_tables if _find_signatures(table)]


def _find_signatures(table: Table) -> list[Column[Any]]:
    """Return the columns that say which person did something, in words."""
    return [
        one
        for one in table.columns
        if (one.name == "person" or one.name.endswith("_by")) and isinstance(one.type, Text)
    ]


def _said_by(table: Table, names: Collection[str]) -> Any:
    return or_(*(column.in_(names) for column in _find_signatures(table)))
