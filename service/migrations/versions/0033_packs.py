"""Contents of pushes packed together.

Revision ID: 0033
"""

from alembic import op
from sqlalchemy import Column, ForeignKey, Integer, LargeBinary, Text

revision = "0033"
down_revision = "0032"


def upgrade() -> None:
    """Create the table; what is older is packed by the job that packs the days to come."""
    op.create_table(
        "import_pack",
        Column("logger_id", Text, ForeignKey("logger.id"), primary_key=True),
        Column("first_id", Integer, primary_key=True),
        Column("last_id", Integer, nullable=False),
        Column("body", LargeBinary, nullable=False),
    )
