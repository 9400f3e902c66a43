"""Silences of single probes, and what is told of a silence; nothing has written to silence before.

Revision ID: 0004
"""

from alembic import op
from sqlalchemy import JSON, Boolean, Column, Date, Float, ForeignKey, Integer, Text

from service.store.types import UtcInstant

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make the tables."""
    op.drop_table("silence")
    op.create_table(
        "silence",
        Column("id", Integer, primary_key=True),
        Column("logger_id", Text, ForeignKey("logger.id"), nullable=False, index=True),
        Column("probe_id", Integer, ForeignKey("probe.id")),
        Column("kind", Text, nullable=False),
        Column("last_reading_at", UtcInstant, nullable=False),
        Column("noticed_at", UtcInstant, nullable=False),
        Column("returned_at", UtcInstant),
    )
    op.create_table(
        "silence_notice",
        Column("id", Integer, primary_key=True),
        Column("silence_id", Integer, ForeignKey("silence.id"), nullable=False),
        Column("what", Text, nullable=False),
        Column("depth_cm", Float),
        Column("last_on", Date, nullable=False),
        Column("back_on", Date),
        Column("unusable", Boolean, nullable=False),
        Column("usual_days", Integer),
        Column("failing_since", Date),
        Column("failure", Text),
        Column("block_ids", JSON, nullable=False),
    )
    op.create_table(
        "silence_recipient",
        Column("silence_notice_id", Integer, ForeignKey("silence_notice.id"), primary_key=True),
        Column("recipient_name", Text, ForeignKey("recipient.name"), primary_key=True),
        Column("digest_id", Integer, ForeignKey("digest.id"), index=True),
    )
