"""Blocks that are carried down to their root zone, and notices that rest on estimates.

Revision ID: 0005
"""

from alembic import op
from sqlalchemy import Boolean, Column, Float, ForeignKey, Integer, Text

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Create the tables; no block was carried before, and no notice estimated."""
    op.create_table(
        "block_carry",
        Column("block_id", Text, ForeignKey("block.id"), primary_key=True),
        Column("diffusivity_mm2_s", Float),
    )
    op.create_table(
        "notice_estimate",
        Column("notice_id", Integer, ForeignKey("notice.id"), primary_key=True),
        Column("carried", Boolean, nullable=False),
        Column("estimated", Boolean, nullable=False),
    )
