"""From which day on readings are kept.

Revision ID: 0031
"""

from alembic import op
from sqlalchemy import Column, Date, Integer

from service.store.types import UtcInstant

revision = "0031"
down_revision = "0030"


def upgrade() -> None:
    """Create the table; all readings are kept so far."""
    op.create_table(
        "frozen",
        Column("id", Integer, primary_key=True),
        Column("before", Date, nullable=False),
        Column("decided_at", UtcInstant, nullable=False),
    )
