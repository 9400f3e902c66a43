"""How many vines a block has.

Revision ID: 0037
"""

from alembic import op
from sqlalchemy import Column, ForeignKey, Integer, Text

revision = "0037"
down_revision = "0036"


def upgrade() -> None:
    """Create the table; nobody has counted so far."""
    op.create_table(
        "block_vines",
        Column("block_id", Text, ForeignKey("block.id"), primary_key=True),
        Column("vines", Integer, nullable=False),
    )
