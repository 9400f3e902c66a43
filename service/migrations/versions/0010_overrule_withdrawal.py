"""Who took a person's word over the checks back, and why.

Revision ID: 0010
"""

from alembic import op
from sqlalchemy import Column, ForeignKey, Integer, Text

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    """Create the table; of what was withdrawn before no one was asked."""
    op.create_table(
        "overrule_withdrawal",
        Column("overrule_id", Integer, ForeignKey("overrule.id"), primary_key=True),
        Column("person", Text, nullable=False),
        Column("why", Text, nullable=False),
    )
