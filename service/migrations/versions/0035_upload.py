"""Files that a person looks at before they are kept.

Revision ID: 0035
"""

from alembic import op
from sqlalchemy import JSON, Column, ForeignKey, Integer, LargeBinary, Text

from service.store.types import UtcInstant

revision = "0035"
down_revision = "0034"


def upgrade() -> None:
    """Create the table."""
    op.create_table(
        "upload",
        Column("id", Integer, primary_key=True),
        Column("account_id", Integer, ForeignKey("account.id"), nullable=False, index=True),
        Column("site_id", Text, ForeignKey("site.id"), nullable=False),
        Column("logger_id", Text),
        Column("layout", JSON),
        Column("file", Text, nullable=False),
        Column("body", LargeBinary, nullable=False),
        Column("made_at", UtcInstant, nullable=False),
    )
