"""Texts that come from phones.

Revision ID: 0019
"""

from alembic import op
from sqlalchemy import Column, Text

from service.store.types import UtcInstant

revision = "0019"
down_revision = "0018"


def upgrade() -> None:
    """Create the table; no text has come so far."""
    op.create_table(
        "text_received",
        Column("id", Text, primary_key=True),
        Column("phone", Text, nullable=False),
        Column("text", Text, nullable=False),
        Column("received_at", UtcInstant, nullable=False),
        Column("answer", Text),
    )
