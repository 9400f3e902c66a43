"""Hours of the day in which nothing is sent to a recipient.

Revision ID: 0021
"""

from alembic import op
from sqlalchemy import Column, ForeignKey, Text

revision = "0021"
down_revision = "0020"


def upgrade() -> None:
    """Create the table; no one has quiet hours so far."""
    op.create_table(
        "recipient_quiet",
        Column("recipient_name", Text, ForeignKey("recipient.name"), primary_key=True),
        Column("quiet_from", Text, nullable=False),
        Column("quiet_until", Text, nullable=False),
    )
