"""Addresses whose readers were forgotten.

Revision ID: 0027
"""

from alembic import op
from sqlalchemy import Column, Text

from service.store.types import UtcInstant

revision = "0027"
down_revision = "0026"


def upgrade() -> None:
    """Create the table; no one was forgotten before."""
    op.create_table(
        "forgotten_address",
        Column("hash", Text, primary_key=True),
        Column("salt", Text, nullable=False),
        Column("forgotten_at", UtcInstant, nullable=False),
    )
