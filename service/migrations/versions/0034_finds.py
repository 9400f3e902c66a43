"""What digging at vines showed, earlier versions of it, and photos.

Revision ID: 0034
"""

from collections.abc import Iterator
from typing import Any

from alembic import op
from sqlalchemy import (
    Boolean,
    Column,
    Date,
    Float,
    ForeignKey,
    Integer,
    LargeBinary,
    Text,
    UniqueConstraint,
)

from service.store.types import UtcInstant

revision = "0034"
down_revision = "0033"


def upgrade() -> None:
    """Create the tables; nothing was recorded so far."""
    op.create_table(
        "dig_record",
        Column("record_id", Text, primary_key=True),
        *_shown(),
        Column("withdrawn_at", UtcInstant),
        Column("withdrawn_by", Text),
        Column("withdrawn_why", Text),
    )
    op.create_table(
        "dig_record_earlier",
        Column("id", Integer, primary_key=True),
        Column("record_id", Text, ForeignKey("dig_record.record_id"), nullable=False, index=True),
        *_shown(),
        Column("replaced_at", UtcInstant, nullable=False),
        Column("replaced_by", Text, nullable=False),
    )
    op.create_table(
        "dig_photo",
        Column("id", Integer, primary_key=True),
        Column("record_id", Text, ForeignKey("dig_record.record_id"), nullable=False),
        Column("sha256", Text, nullable=False),
        Column("content", LargeBinary, nullable=False),
        Column("kept_at", UtcInstant, nullable=False),
        Column("kept_by", Text, nullable=False),
        UniqueConstraint("record_id", "sha256"),
    )


def _shown() -> Iterator[Column[Any]]:
    yield Column("block_id", Text, ForeignKey("block.id"), nullable=False, index=True)
    yield Column("row", Integer, nullable=False)
    yield Column("vine", Integer, nullable=False)
    yield Column("dug_on", Date, nullable=False)
    yield Column("person", Text, nullable=False)
    for name in ("roots", "swellings", "insects", "specimen", "mark", "note"):
        yield Column(name, Text, nullable=False)
    for name in ("dead_roots", "by_lot"):
        yield Column(name, Boolean, nullable=False)
    for name in ("depth_cm", "latitude", "longitude"):
        yield Column(name, Float)
    yield Column("kept_at", UtcInstant, nullable=False)
    yield Column("kept_by", Text, nullable=False)
