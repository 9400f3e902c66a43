"""Accounts that a test plants, and browsers that are signed in to them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from functools import cache

import requests
from argon2 import PasswordHasher
from sqlalchemy import Engine

from service.store.accounts import Account, Role, add_account, set_account
from service.store.engine import writing
from service.store.tokens import add_account_token

PASSWORD = "four vines in a row"  # noqa: S105


@cache
def _cheap_hash() -> str:
    return PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(PASSWORD)


def plant_account(
    engine: Engine, email: str, role: Role, recipient_name: str | None = None
) -> Account:
    """Put in an account that has a password."""
    with writing(engine) as connection:
        name = email.partition("@")[0].title()
        made = add_account(connection, email, name, role, datetime.now(UTC), recipient_name)
        set_account(connection, made.id, password_hash=_cheap_hash())
    return made


def plant_token(engine: Engine) -> dict[str, str]:
    """Put in an administrator; return the headers with which a program reads as they do."""
    account = plant_account(engine, "cora@example.org", "administrator")
    now = datetime.now(UTC)
    with writing(engine) as connection:
        until = now + timedelta(days=1)
        secret = add_account_token(connection, account.id, "read", now, "", until)
    return {"Authorization": f"Bearer {secret}"}


def sign_in_as(here: str, email: str) -> requests.Session:
    """Return a browser that is signed in."""
    browser = requests.Session()
    browser.headers["Accept"] = "text/html"
    filled = {"email": email, "password": PASSWORD}
    answer = browser.post(f"{here}/sign-in", filled, timeout=30)
    assert answer.status_code == 200, answer.text
    return browser


def send(
    browser: requests.Session,
    url: str,
    fields: Mapping[str, str],
    headers: Mapping[str, str] | None = None,
) -> requests.Response:
    """Send a form as the pages of its session do."""
    there = url.split("/", 3)
    page = browser.get("/".join((*there[:3], "account")), timeout=30).text
    (csrf, *_) = re.findall(r'name="csrf" value="(\w+)"', page)
    return browser.post(
        url, {**fields, "csrf": csrf}, headers=headers, allow_redirects=False, timeout=30
    )
