"""What is held of a person: handed out whole, and taken out whole, files of messages too."""

from __future__ import annotations

import json
from base64 import b64encode
from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from service.settings import Settings
from service.store.forgetting import (
    Rows,
    fetch_account_rows,
    fetch_person,
    find_reader,
    forget_account,
    forget_person,
)


def fetch_held(connection: Connection, called: str) -> dict[str, Rows]:
    """Return every row that is about a person, by table; nothing where there is no such one.

    called : the name of one who is told, or the mail address of one who signs in
    """
    reader = find_reader(connection, called)
    return fetch_person(connection, reader) if reader else fetch_account_rows(connection, called)


def write_held(held: Mapping[str, Rows]) -> str:
    """Return what is held as JSON; bytes are in Base64, times in UTC."""
    return json.dumps(held, indent=2, ensure_ascii=False, default=_write)


def forget(
    connection: Connection, settings: Settings, called: str, now: datetime
) -> tuple[str, list[Path]]:
    """Take a person, of whom something is held, out of the store; return what stands in their
    place, and files of messages, which are to be deleted once the caller's transaction holds.

    called : as for `fetch_held`
    """
    reader = find_reader(connection, called)
    if not reader:
        return forget_account(connection, called, now), []
    nobody, receipts = forget_person(connection, reader, now)
    folder = settings.outbox.resolve()
    paths = (Path(receipt).resolve() for receipt in receipts)
    return nobody, [path for path in paths if path.parent == folder]


def _write(value: Any) -> str:
    if isinstance(value, bytes):
        return b64encode(value).decode()
    return value.isoformat() if isinstance(value, date) else str(value)
