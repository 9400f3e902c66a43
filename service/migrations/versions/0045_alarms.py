"""What is wrong with the service, and when it was last backed up.

Revision ID: 0045
"""

from alembic import op
from sqlalchemy import Column, Integer, Text

from service.store.types import UtcInstant

revision = "0045"
down_revision = "0044"


def upgrade() -> None:
    """Create the tables."""
    op.create_table(
        "alarm",
        Column("what", Text, primary_key=True),
        Column("said", Text, nullable=False),
        Column("remedy", Text, nullable=False),
        Column("since", UtcInstant, nullable=False),
        *(Column(name, UtcInstant) for name in ("tried_at", "told_at", "over_at")),
        Column("failure", Text),
    )
    op.create_table(
        "backup_made",
        Column("id", Integer, primary_key=True),
        Column("made_at", UtcInstant, nullable=False),
    )
