"""What is counted so that it can be bounded.

Revision ID: 0022
"""

from alembic import op
from sqlalchemy import Column, Integer, Text

from service.store.types import UtcInstant

revision = "0022"
down_revision = "0021"


def upgrade() -> None:
    """Create the table; nothing is counted so far."""
    op.create_table(
        "attempt",
        Column("kind", Text, primary_key=True),
        Column("of", Text, primary_key=True),
        Column("count", Integer, nullable=False),
        Column("ends_at", UtcInstant, nullable=False, index=True),
    )
