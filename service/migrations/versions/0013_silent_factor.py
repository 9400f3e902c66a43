"""How late the loggers of a site, or one logger or station, may be before they count as silent.

Revision ID: 0013
"""

from alembic import op
from sqlalchemy import Column, Float, ForeignKey, Text

revision = "0013"
down_revision = "0012"


def upgrade() -> None:
    """Create the tables; so far all were as late as the environment says."""
    for owner in ("site", "logger"):
        op.create_table(
            f"{owner}_silence",
            Column(f"{owner}_id", Text, ForeignKey(f"{owner}.id"), primary_key=True),
            Column("silent_factor", Float, nullable=False),
        )
