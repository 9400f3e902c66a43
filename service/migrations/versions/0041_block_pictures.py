"""Charts of blocks, drawn ahead.

Revision ID: 0041
"""

from alembic import op
from sqlalchemy import Column, ForeignKey, Integer, LargeBinary, Text

revision = "0041"
down_revision = "0040"


def upgrade() -> None:
    """Create the table."""
    op.create_table(
        "block_picture",
        Column("block_id", Text, ForeignKey("block.id"), primary_key=True),
        Column("season", Integer, primary_key=True, autoincrement=False),
        Column("language", Text, primary_key=True),
        Column("unit", Text, primary_key=True),
        Column("basis", Text, nullable=False),
        Column("svg", LargeBinary, nullable=False),
        Column("described", Text, nullable=False),
    )
