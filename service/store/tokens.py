"""Tokens that let a program in: 256 random bits; the store keeps their hash."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from sqlalchemy import Connection, and_, insert, or_, select, update

from service.store.tables import account, logger, token

Scope = Literal["push", "read", "write", "calendar", "metrics"]
"""Push: readings of one logger. Read: what an account may see; write: and do. Calendar: of its
blocks, or some of them, as its name says. Metrics: figures of the service, of nobody's account."""


@dataclass(frozen=True)
class Token:
    """A token without its secret, of a logger, of an account or, for figures, of neither."""

    id: int
    scope: Scope
    logger_id: str | None
    account_id: int | None
    name: str
    made_at: datetime
    expires_at: datetime | None
    last_used_at: datetime | None
    revoked_at: datetime | None


@dataclass(frozen=True)
class PushToken:
    """A token of a logger that holds."""

    id: int
    logger_id: str


_COLUMNS = [token.c[name] for name in Token.__dataclass_fields__]


def add_token(
    connection: Connection,
    logger_id: str,
    now: datetime,
    name: str = "",
    expires_at: datetime | None = None,
) -> str:
    """Return a new token with which a logger pushes; it cannot be had again."""
    return _add(connection, now, name, expires_at, scope="push", logger_id=logger_id)


def add_account_token(
    connection: Connection,
    account_id: int,
    scope: Scope,
    now: datetime,
    name: str,
    expires_at: datetime,
) -> str:
    """Return a new token with which a program sees or does what an account may."""
    return _add(connection, now, name, expires_at, scope=scope, account_id=account_id)


def add_metrics_token(
    connection: Connection, now: datetime, name: str, expires_at: datetime | None = None
) -> str:
    """Return a new token with which a program reads how the service runs, and nothing else."""
    return _add(connection, now, name, expires_at, scope="metrics")


def add_calendar_token(connection: Connection, account_id: int, now: datetime, name: str) -> str:
    """Return a new token with which a phone reads a calendar; it holds until it is revoked."""
    return _add(connection, now, name, None, scope="calendar", account_id=account_id)


def fetch_tokens(connection: Connection, account_id: int | None = None) -> Sequence[Token]:
    """Return all tokens, or those of an account, the revoked ones too, in their order."""
    query = select(*_COLUMNS).order_by(token.c.id)
    if account_id is not None:
        query = query.where(token.c.account_id == account_id)
    return [Token(*row) for row in connection.execute(query)]


def find_token(connection: Connection, secret: str, now: datetime) -> Token | None:
    """Return the token of a secret, if it holds and its logger or account is active."""
    row = connection.execute(
        select(*_COLUMNS)
        .outerjoin(logger)
        .outerjoin(account)
        .where(
            token.c.sha256 == hash_secret(secret),
            token.c.revoked_at.is_(None),
            or_(token.c.expires_at.is_(None), token.c.expires_at > now),
            or_(
                and_(token.c.logger_id.is_not(None), logger.c.retired_at.is_(None)),
                and_(token.c.account_id.is_not(None), account.c.revoked_at.is_(None)),
                token.c.scope == "metrics",
            ),
        )
    ).one_or_none()
    return None if row is None else Token(*row)


def find_push_token(connection: Connection, secret: str, now: datetime) -> PushToken | None:
    """Return the token of a secret with which a logger pushes, if it holds."""
    found = find_token(connection, secret, now)
    return PushToken(found.id, found.logger_id) if found and found.logger_id else None


def mark_used(connection: Connection, token_id: int, now: datetime) -> None:
    """Note that a token has brought something."""
    of_token = token.c.id == token_id
    connection.execute(update(token).where(of_token).values(last_used_at=now))


def revoke_token(
    connection: Connection, token_id: int, now: datetime, account_id: int | None = None
) -> bool:
    """Let a token, of an account where one is given, hold no longer; return whether it did."""
    holding = [token.c.id == token_id, token.c.revoked_at.is_(None)]
    if account_id is not None:
        holding.append(token.c.account_id == account_id)
    revoked = connection.execute(update(token).where(*holding).values(revoked_at=now))
    return bool(revoked.rowcount)


def revoke_tokens(connection: Connection, account_id: int, now: datetime) -> int:
    """Let no token with which programs of an account see or do anything hold longer; return how
    many did.
    """
    of_programs = token.c.account_id == account_id, token.c.scope.in_(("read", "write"))
    holding = update(token).where(*of_programs, token.c.revoked_at.is_(None))
    return connection.execute(holding.values(revoked_at=now)).rowcount


def hash_secret(secret: str) -> str:
    """Return what is kept of a secret of 256 random bits."""
    return hashlib.sha256(secret.encode()).hexdigest()


def _add(
    connection: Connection, now: datetime, name: str, expires_at: datetime | None, **of: Any
) -> str:
    secret = secrets.token_urlsafe(32)
    row = {"sha256": hash_secret(secret), "name": name, "made_at": now, "expires_at": expires_at}
    connection.execute(insert(token).values(row | of))
    return secret
