"""Daily means packed, to be read fast.

Revision ID: 0036
"""

from alembic import op
from sqlalchemy import Column, ForeignKey, Integer, LargeBinary, SmallInteger

revision = "0036"
down_revision = "0035"


def upgrade() -> None:
    """Create the table; days are packed by the job that packs those to come."""
    op.create_table(
        "daily_pack",
        Column("probe_id", Integer, ForeignKey("probe.id"), primary_key=True),
        Column("part", Integer, primary_key=True),
        Column("held", SmallInteger, nullable=False),
        Column("body", LargeBinary, nullable=False),
    )
