"""Sending that is held back until a person lets it go on.

Revision ID: 0032
"""

from alembic import op
from sqlalchemy import Column, Integer, Text

from service.store.types import UtcInstant

revision = "0032"
down_revision = "0031"


def upgrade() -> None:
    """Create the table; nothing is held so far."""
    op.create_table(
        "sending_hold",
        Column("id", Integer, primary_key=True),
        Column("since", UtcInstant, nullable=False),
        Column("why", Text, nullable=False),
    )
