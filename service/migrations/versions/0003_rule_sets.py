"""Rule sets of the farm file.

Revision ID: 0003
"""

from alembic import op
from sqlalchemy import JSON, Column, Text

from service.store.types import UtcInstant

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Create the table; the rule set that is built in is not in it."""
    op.create_table(
        "rule",
        Column("name", Text, primary_key=True),
        Column("spec", JSON, nullable=False),
        Column("retired_at", UtcInstant),
    )
