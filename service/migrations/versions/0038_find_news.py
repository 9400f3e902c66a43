"""Who is told of what was found, and where a grower lets the coordinator see it.

Revision ID: 0038
"""

from alembic import op
from sqlalchemy import Column, ForeignKey, Integer, Text

from service.store.types import UtcInstant

revision = "0038"
down_revision = "0037"


def upgrade() -> None:
    """Create the tables; nothing was told, and no one has agreed so far."""
    op.create_table(
        "dig_news",
        Column("id", Integer, primary_key=True),
        Column("record_id", Text, ForeignKey("dig_record.record_id"), nullable=False, index=True),
        Column("what", Text, nullable=False),
        Column("noticed_at", UtcInstant, nullable=False),
    )
    op.create_table(
        "dig_news_reader",
        Column("dig_news_id", Integer, ForeignKey("dig_news.id"), primary_key=True),
        Column("recipient_name", Text, ForeignKey("recipient.name"), primary_key=True),
        Column("digest_id", Integer, ForeignKey("digest.id"), index=True),
    )
    op.create_table(
        "finds_consent",
        Column("id", Integer, primary_key=True),
        Column("site_id", Text, ForeignKey("site.id"), nullable=False, index=True),
        Column("agreed_at", UtcInstant, nullable=False),
        Column("agreed_by", Text, nullable=False),
        Column("taken_back_at", UtcInstant),
        Column("taken_back_by", Text),
    )
