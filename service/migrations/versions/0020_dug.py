"""Who has dug a block in a window, and hears only of its close.

Revision ID: 0020
"""

from alembic import op
from sqlalchemy import Column, ForeignKey, Integer, Text

from service.store.types import UtcInstant

revision = "0020"
down_revision = "0019"


def upgrade() -> None:
    """Create the table; no one has said so far."""
    op.create_table(
        "dug",
        Column("recipient_name", Text, ForeignKey("recipient.name"), primary_key=True),
        Column("block_id", Text, ForeignKey("block.id"), primary_key=True),
        Column("season", Integer, primary_key=True),
        Column("kind", Text, primary_key=True),
        Column("said_at", UtcInstant, nullable=False),
        Column("how", Text, nullable=False),
        Column("taken_back_at", UtcInstant),
    )
