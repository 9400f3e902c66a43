"""One round at a time, and what of the readings a round has seen.

Revision ID: 0028
"""

from alembic import op
from sqlalchemy import Column, ForeignKey, Integer, Text

from service.store.types import UtcInstant

revision = "0028"
down_revision = "0027"


def upgrade() -> None:
    """Create the tables; the next round is due at once."""
    op.create_table(
        "round_lease",
        Column("id", Integer, primary_key=True),
        Column("holder", Text, nullable=False),
        Column("host", Text, nullable=False),
        Column("process", Integer, nullable=False),
        Column("since", UtcInstant, nullable=False),
        Column("lapses_at", UtcInstant, nullable=False),
    )
    op.create_table(
        "logger_change",
        Column("logger_id", Text, ForeignKey("logger.id"), primary_key=True),
        Column("changes", Integer, nullable=False),
    )
    op.create_table(
        "round_seen",
        Column("round_id", Integer, ForeignKey("round.id"), primary_key=True),
        Column("changes", Integer, nullable=False),
    )
    op.drop_column("import_batch", "changed_at")
