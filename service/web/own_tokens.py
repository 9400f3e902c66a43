"""Tokens of a visitor's own programs."""

from __future__ import annotations

from datetime import datetime, timedelta
from http import HTTPStatus
from typing import Literal

from sqlalchemy import Connection

from service.store.tokens import Token, add_account_token, fetch_tokens, revoke_token
from service.web.access import Visitor
from service.web.problems import Problem

LONGEST_NAME = 100


def ask_person(who: Visitor) -> None:
    """Let no token make others, or lock its person out."""
    if who.secret is None:
        raise Problem(HTTPStatus.FORBIDDEN, "only a person who is signed in does that")


def find_own_tokens(connection: Connection, account_id: int) -> list[Token]:
    """Return those that hold or have run out, in their order."""
    every = fetch_tokens(connection, account_id)
    return [one for one in every if one.revoked_at is None and one.scope != "calendar"]


def make_token(
    connection: Connection,
    who: Visitor,
    scope: Literal["read", "write"],
    days: int,
    name: str,
    now: datetime,
) -> str:
    """Return the secret of a new token: only now, since no one keeps it."""
    ask_person(who)
    until = now + timedelta(days=days)
    secret = add_account_token(connection, who.account.id, scope, now, name, until)
    who.note(connection, f"made a token to {scope}", name, now)
    return secret


def revoke_own(connection: Connection, who: Visitor, token_id: int, now: datetime) -> bool:
    """Let a token of one's own hold no longer; return whether it did."""
    is_revoked = revoke_token(connection, token_id, now, who.account.id)
    if is_revoked:
        who.note(connection, "revoked a token", f"{token_id}", now)
    return is_revoked
