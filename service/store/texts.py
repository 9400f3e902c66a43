"""Texts that have come: each is taken once, however often its gateway brings it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, insert, select

from service.store.tables import text_received


@dataclass(frozen=True)
class ReceivedText:
    """A text as it came, by its gateway's own number; `answer`: None: no one was answered."""

    id: str
    phone: str
    text: str
    received_at: datetime
    answer: str | None


def fetch_received_text(connection: Connection, number: str) -> ReceivedText | None:
    """Return a text that has come."""
    columns = [text_received.c[name] for name in ReceivedText.__dataclass_fields__]
    row = connection.execute(select(*columns).where(text_received.c.id == number)).one_or_none()
    return None if row is None else ReceivedText(*row)


def add_received_text(connection: Connection, received: ReceivedText) -> None:
    """Keep a text and its answer."""
    connection.execute(insert(text_received).values(vars(received)))
