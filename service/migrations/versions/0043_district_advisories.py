"""Advisories that speak of some districts only.

Revision ID: 0043
"""

from alembic import op
from sqlalchemy import Column, ForeignKey, Integer, Text

revision = "0043"
down_revision = "0042"


def upgrade() -> None:
    """Create the table."""
    op.create_table(
        "advisory_district",
        Column("advisory_id", Integer, ForeignKey("advisory.id"), primary_key=True),
        Column("district_id", Text, ForeignKey("district.id"), primary_key=True),
    )
