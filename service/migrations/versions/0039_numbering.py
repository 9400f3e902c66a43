"""How the vines of a block are numbered, and where the first one stands.

Revision ID: 0039
"""

from alembic import op
from sqlalchemy import Column, Float, ForeignKey, Text

revision = "0039"
down_revision = "0038"


def upgrade() -> None:
    """Create the table; no block has said so yet."""
    op.create_table(
        "block_numbering",
        Column("block_id", Text, ForeignKey("block.id"), primary_key=True),
        Column("rows_counted", Text),
        Column("first_latitude", Float),
        Column("first_longitude", Float),
    )
