"""Notices of what has probably happened since the last readings.

Revision ID: 0016
"""

from alembic import op
from sqlalchemy import Column, Date, Float, ForeignKey, Integer

revision = "0016"
down_revision = "0015"


def upgrade() -> None:
    """Create the table; no such notice was made before."""
    op.create_table(
        "notice_nowcast",
        Column("notice_id", Integer, ForeignKey("notice.id"), primary_key=True),
        Column("issued_on", Date, nullable=False),
        Column("since", Date, nullable=False),
        Column("chance", Float, nullable=False),
        Column("last_day", Date),
    )
