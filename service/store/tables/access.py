"""Who may do what, and how often: what is counted so that it can be bounded."""

from __future__ import annotations

from sqlalchemy import Column, Integer, Table, Text

from service.store.tables.base import metadata
from service.store.types import UtcInstant

attempt = Table(  # what someone did within a span, however many processes serve
    "attempt",
    metadata,
    Column("kind", Text, primary_key=True),
    Column("of", Text, primary_key=True),  # a phone, an address, a name
    Column("count", Integer, nullable=False),
    Column("ends_at", UtcInstant, nullable=False, index=True),
)
