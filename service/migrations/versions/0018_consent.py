"""Whether those who are told want to be, by address.

Revision ID: 0018
"""

from alembic import op
from sqlalchemy import Column, ForeignKey, Integer, Text, UniqueConstraint

from service.store.types import UtcInstant

revision = "0018"
down_revision = "0017"


def upgrade() -> None:
    """Create the table; no one has been asked so far."""
    op.create_table(
        "address_consent",
        Column("id", Integer, primary_key=True),
        Column("recipient_name", Text, ForeignKey("recipient.name"), nullable=False),
        Column("channel", Text, nullable=False),
        Column("address", Text, nullable=False),
        Column("asked_at", UtcInstant),
        Column("confirmed_at", UtcInstant),
        Column("confirmed_by", Text),
        Column("confirmed_why", Text),
        Column("stopped_at", UtcInstant),
        Column("stopped_how", Text),
        UniqueConstraint("recipient_name", "channel", "address"),
    )
