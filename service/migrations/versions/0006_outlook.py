"""The outlooks of each round.

Revision ID: 0006
"""

from alembic import op
from sqlalchemy import Column, Date, Float, ForeignKey, Integer, Text

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Create the table."""
    op.create_table(
        "outlook",
        Column("block_id", Text, ForeignKey("block.id"), primary_key=True),
        Column("issued_on", Date, primary_key=True),
        Column("event", Text, primary_key=True),
        Column("season", Integer, nullable=False),
        Column("kind", Text, nullable=False),
        Column("last_day", Date),
        Column("curve_of", Text, ForeignKey("block.id"), nullable=False),
        Column("chance", Float, nullable=False),
        Column("by_now", Float, nullable=False),
        Column("within_7_d", Float, nullable=False),
        Column("within_14_d", Float, nullable=False),
        Column("p10", Date),
        Column("p50", Date),
        Column("p90", Date),
        Column("warm_first", Date),
        Column("warm_last", Date),
        Column("warm_peak_on", Date),
        Column("warm_peak_c", Float),
    )
