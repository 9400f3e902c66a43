"""Sites for study only.

Revision ID: 0042
"""

from alembic import op
from sqlalchemy import Column, ForeignKey, Text

revision = "0042"
down_revision = "0041"


def upgrade() -> None:
    """Create the table."""
    op.create_table(
        "site_for_study",
        Column("site_id", Text, ForeignKey("site.id"), primary_key=True),
    )
