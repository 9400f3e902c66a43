"""Tokens that let a logger push its readings: 256 random bits; the store keeps their hash."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, insert, select, update

from service.store.tables import logger, push_token


@dataclass(frozen=True)
class Token:
    """A token without its secret."""

    id: int
    logger_id: str
    made_at: datetime
    last_used_at: datetime | None
    revoked_at: datetime | None


def add_token(connection: Connection, logger_id: str, now: datetime) -> str:
    """Return a new token of a logger; it cannot be had again."""
    secret = secrets.token_urlsafe(32)
    row = {"logger_id": logger_id, "sha256": _hash(secret), "made_at": now}
    connection.execute(insert(push_token).values(row))
    return secret


def fetch_tokens(connection: Connection) -> Sequence[Token]:
    """Return all tokens, the revoked ones too, in the order in which they were made."""
    columns = [push_token.c[name] for name in Token.__dataclass_fields__]
    rows = connection.execute(select(*columns).order_by(push_token.c.id))
    return [Token(*row) for row in rows]


def find_token(connection: Connection, secret: str) -> Token | None:
    """Return the token of a secret, if it holds and its logger is active."""
    columns = [push_token.c[name] for name in Token.__dataclass_fields__]
    row = connection.execute(
        select(*columns)
        .join(logger)
        .where(
            push_token.c.sha256 == _hash(secret),
            push_token.c.revoked_at.is_(None),
            logger.c.retired_at.is_(None),
        )
    ).one_or_none()
    return None if row is None else Token(*row)


def mark_used(connection: Connection, token_id: int, now: datetime) -> None:
    """Note that a token has brought something."""
    of_token = push_token.c.id == token_id
    connection.execute(update(push_token).where(of_token).values(last_used_at=now))


def revoke_token(connection: Connection, token_id: int, now: datetime) -> bool:
    """Let a token hold no longer; return whether it did until now."""
    holding = (push_token.c.id == token_id, push_token.c.revoked_at.is_(None))
    return bool(
        connection.execute(update(push_token).where(*holding).values(revoked_at=now)).rowcount
    )


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
