"""Outlooks found apart from the rounds.

Revision ID: 0040
"""

from alembic import op
from sqlalchemy import Column, Float, Integer

from service.store.types import UtcInstant

revision = "0040"
down_revision = "0039"


def upgrade() -> None:
    """Create the table of when they were found."""
    op.create_table(
        "look_ahead",
        Column("id", Integer, primary_key=True),
        Column("started_at", UtcInstant, nullable=False),
        Column("changes", Integer, nullable=False),
        Column("took_s", Float, nullable=False),
    )
