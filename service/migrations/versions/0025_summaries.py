"""Notices that sum up a season; pauses that are not told yet.

Revision ID: 0025
"""

from alembic import op
from sqlalchemy import JSON, Column, Date, Float, ForeignKey, Integer, Text

revision = "0025"
down_revision = "0024"


def upgrade() -> None:
    """Create the tables; no season was summed up before, and each pause was told at once."""
    op.create_table(
        "notice_summary",
        Column("notice_id", Integer, ForeignKey("notice.id"), primary_key=True),
        Column("spans", JSON, nullable=False),
        Column("highest_c", Float, nullable=False),
        Column("highest_on", Date, nullable=False),
    )
    op.create_table(
        "untold_pause",
        Column("block_id", Text, ForeignKey("block.id"), primary_key=True),
        Column("season", Integer, primary_key=True),
        Column("kind", Text, primary_key=True),
    )
