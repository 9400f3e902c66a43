"""Those who sign in: who they are, what is theirs, and the browsers that are signed in."""

from __future__ import annotations

import secrets
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

from sqlalchemy import Connection, delete, exists, insert, or_, select, update

from probes.units import Unit
from service.store.tables import account, account_district, account_site, session
from service.store.tokens import hash_secret

Role = Literal["grower", "researcher", "coordinator", "administrator"]
ROLES: tuple[Role, ...] = ("grower", "researcher", "coordinator", "administrator")

REST, LONGEST_SESSION = timedelta(days=14), timedelta(days=90)
"""A browser is signed out after so long without a visit, and at the latest after so long."""
SEEN_EVERY = timedelta(hours=1)


@dataclass(frozen=True)
class Account:
    """One who signs in.

    language : None: that of the browser
    recipient_name : who is told as the same person
    password_hash : None: none is chosen yet
    """

    id: int
    email: str
    name: str
    role: Role
    language: str | None
    unit: Unit
    recipient_name: str | None
    password_hash: str | None
    link_count: int
    made_at: datetime
    signed_in_at: datetime | None
    revoked_at: datetime | None


_COLUMNS = [account.c[name] for name in Account.__dataclass_fields__]


def find_role(text: str) -> Role | None:
    """Return the role of a name, if there is one."""
    roles: dict[str, Role] = {one: one for one in ROLES}
    return roles.get(text)


def add_account(
    connection: Connection,
    email: str,
    name: str,
    role: Role,
    now: datetime,
    recipient_name: str | None = None,
    language: str | None = None,
    unit: Unit = "F",
) -> Account:
    """Add an account whose address no other has; it has no password yet."""
    row = {
        "email": email.strip().lower(),
        "name": name,
        "role": role,
        "language": language,
        "unit": unit,
        "recipient_name": recipient_name,
        "link_count": 0,
        "made_at": now,
    }
    made = connection.execute(insert(account).values(row).returning(*_COLUMNS)).one()
    return Account(*made)


def fetch_accounts(connection: Connection) -> list[Account]:
    """Return all accounts by name, the revoked ones too."""
    rows = connection.execute(select(*_COLUMNS).order_by(account.c.name, account.c.id))
    return [Account(*row) for row in rows]


def fetch_account(connection: Connection, account_id: int) -> Account | None:
    """Return an account by its number."""
    row = connection.execute(select(*_COLUMNS).where(account.c.id == account_id)).one_or_none()
    return None if row is None else Account(*row)


def find_account(connection: Connection, email: str) -> Account | None:
    """Return the account of an address, however it is written."""
    of_address = account.c.email == email.strip().lower()
    row = connection.execute(select(*_COLUMNS).where(of_address)).one_or_none()
    return None if row is None else Account(*row)


def has_administrator(connection: Connection) -> bool:
    """Return whether someone who may do everything has ever signed in, or has a password."""
    has = or_(account.c.password_hash.is_not(None), account.c.signed_in_at.is_not(None))
    query = select(exists().where(account.c.role == "administrator", has))
    return bool(connection.scalar(query))


def set_account(connection: Connection, account_id: int, **values: Any) -> None:
    """Change what is kept of an account."""
    of_one = account.c.id == account_id
    connection.execute(update(account).where(of_one).values(**values))


def set_places(
    connection: Connection,
    account_id: int,
    site_ids: Collection[str],
    district_ids: Collection[str],
) -> None:
    """Let these, and no others, be the sites and districts of an account."""
    for table, column, ids in (
        (account_site, "site_id", site_ids),
        (account_district, "district_id", district_ids),
    ):
        connection.execute(delete(table).where(table.c.account_id == account_id))
        rows = [{"account_id": account_id, column: one} for one in sorted(set(ids))]
        if rows:
            connection.execute(insert(table), rows)


def fetch_places(connection: Connection) -> dict[int, tuple[list[str], list[str]]]:
    """Return the sites and districts of each account that has any, by its number."""
    found: dict[int, tuple[list[str], list[str]]] = {}
    for which, column in enumerate((account_site.c.site_id, account_district.c.district_id)):
        query = select(column.table.c.account_id, column).order_by(column)
        for account_id, place in connection.execute(query):
            found.setdefault(account_id, ([], []))[which].append(place)
    return found


def begin_session(connection: Connection, account_id: int, now: datetime) -> str:
    """Sign a browser in; return the secret that it is to keep."""
    secret = secrets.token_urlsafe(32)
    row = {"sha256": hash_secret(secret), "account_id": account_id, "made_at": now}
    connection.execute(insert(session).values(row | {"seen_at": now, "expires_at": now + REST}))
    return secret


def find_session(connection: Connection, secret: str, now: datetime) -> tuple[Account, bool] | None:
    """Return whose session a secret is, if it holds, and whether it is to be marked as seen."""
    row = connection.execute(
        select(*_COLUMNS, session.c.seen_at)
        .join(session)
        .where(
            session.c.sha256 == hash_secret(secret),
            session.c.expires_at > now,
            account.c.revoked_at.is_(None),
        )
    ).one_or_none()
    if row is None:
        return None
    *of_account, seen_at = row
    return Account(*of_account), now - seen_at >= SEEN_EVERY


def mark_seen(connection: Connection, secret: str, now: datetime) -> None:
    """Let a session last on from now."""
    of_one = session.c.sha256 == hash_secret(secret)
    made_at = connection.scalar(select(session.c.made_at).where(of_one))
    if made_at is not None:
        until = min(now + REST, made_at + LONGEST_SESSION)
        connection.execute(update(session).where(of_one).values(seen_at=now, expires_at=until))


def end_session(connection: Connection, secret: str) -> None:
    """Sign one browser out."""
    connection.execute(delete(session).where(session.c.sha256 == hash_secret(secret)))


def end_sessions(connection: Connection, account_id: int) -> None:
    """Sign out everywhere."""
    connection.execute(delete(session).where(session.c.account_id == account_id))


def forget_sessions(connection: Connection, now: datetime) -> None:
    """Drop the sessions that have expired."""
    connection.execute(delete(session).where(session.c.expires_at <= now))
