"""What a block says of borrowing from its neighbours.

Revision ID: 0012
"""

from alembic import op
from sqlalchemy import Boolean, Column, ForeignKey, Text

revision = "0012"
down_revision = "0011"


def upgrade() -> None:
    """Create the table; no block has said anything so far."""
    op.create_table(
        "block_borrow",
        Column("block_id", Text, ForeignKey("block.id"), primary_key=True),
        Column("borrows", Boolean, nullable=False),
    )
