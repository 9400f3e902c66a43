"""Forget a person: what the store holds of them, and the files that their messages are."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection

from service.settings import Settings
from service.store.forgetting import forget_person


def forget(
    connection: Connection, settings: Settings, name: str, now: datetime
) -> tuple[str, list[Path]]:
    """Take a person out of the store; return what stands in their place, and files of messages.

    The files are to be deleted once the caller's transaction holds.
    """
    nobody, receipts = forget_person(connection, name, now)
    folder = settings.outbox.resolve()
    paths = (Path(receipt).resolve() for receipt in receipts)
    return nobody, [path for path in paths if path.parent == folder]
