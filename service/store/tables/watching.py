"""What is kept of the service itself."""

from __future__ import annotations

from sqlalchemy import Column, Integer, Table, Text

from service.store.tables.base import metadata
from service.store.types import UtcInstant

alarm = Table(  # service.store.alarms.Alarm; no row: nothing is wrong
    "alarm",
    metadata,
    Column("what", Text, primary_key=True),  # as `digseason check` calls it
    Column("said", Text, nullable=False),
    Column("remedy", Text, nullable=False),
    Column("since", UtcInstant, nullable=False),
    Column("tried_at", UtcInstant),
    Column("told_at", UtcInstant),
    Column("over_at", UtcInstant),
    Column("failure", Text),
)

backup_made = Table(  # when the last one was; no row: none is known
    "backup_made",
    metadata,
    Column("id", Integer, primary_key=True),  # always 1
    Column("made_at", UtcInstant, nullable=False),
    Column("path", Text),  # None: noted before paths were
)
