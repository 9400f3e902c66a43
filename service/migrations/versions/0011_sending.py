"""How sending goes: tries, refusals, ends; channels in trouble; addresses that are suspended.

Revision ID: 0011
"""

from email import message_from_string
from email.utils import make_msgid

from alembic import op
from sqlalchemy import (
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    Text,
    UniqueConstraint,
    column,
    select,
    table,
    text,
)

from service.store.types import UtcInstant

revision = "0011"
down_revision = "0010"

KEPT = ("id", "digest_id", "channel", "address", "message", "attempts")
KEPT_AT = ("created_at", "leased_until", "delivered_at")


def upgrade() -> None:
    """Make the outbox anew, its messages with their Message-IDs, and the tables beside it."""
    names = [column(name) for name in KEPT] + [column(name, UtcInstant) for name in KEPT_AT]
    kept = op.get_bind().execute(select(*names).select_from(table("outbox"))).mappings()
    rows = [{**row, "message_id": _find_message_id(row["message"])} for row in kept]
    op.drop_table("outbox")
    anew = op.create_table(
        "outbox",
        Column("id", Integer, primary_key=True),
        Column("digest_id", Integer, ForeignKey("digest.id"), nullable=False),
        Column("channel", Text, nullable=False),
        Column("address", Text, nullable=False),
        Column("message_id", Text, nullable=False, unique=True),
        Column("created_at", UtcInstant, nullable=False),
        Column("leased_until", UtcInstant),
        Column("attempts", Integer, nullable=False),
        Column("next_try_at", UtcInstant),
        Column("failure", Text),
        Column("delivered_at", UtcInstant),
        Column("receipt", Text),
        Column("ended", Text),
        Column("ended_at", UtcInstant),
        Column("ended_by", Text),
        Column("message", Text, nullable=False),
        UniqueConstraint("digest_id", "channel"),
    )
    op.bulk_insert(anew, rows)
    if op.get_bind().dialect.name == "postgresql":
        op.execute("select setval(pg_get_serial_sequence('outbox', 'id'), max(id)) from outbox")
    waiting = text("delivered_at IS NULL AND ended IS NULL")
    op.create_index(
        "ix_outbox_waiting",
        "outbox",
        ["channel", "id"],
        sqlite_where=waiting,
        postgresql_where=waiting,
    )
    op.create_table(
        "channel_trouble",
        Column("channel", Text, primary_key=True),
        Column("since", UtcInstant, nullable=False),
        Column("attempts", Integer, nullable=False),
        Column("next_try_at", UtcInstant, nullable=False),
        Column("failure", Text, nullable=False),
    )
    op.create_table(
        "undelivered",
        Column("id", Integer, primary_key=True),
        Column("recipient_name", Text, ForeignKey("recipient.name"), nullable=False),
        Column("channel", Text, nullable=False),
        Column("address", Text, nullable=False),
        Column("outbox_id", Integer, ForeignKey("outbox.id")),
        Column("why", Text, nullable=False),
        Column("noticed_at", UtcInstant, nullable=False),
        Column("suspends", Boolean, nullable=False),
        Column("lifted_at", UtcInstant),
        Column("lifted_by", Text),
        Index("ix_undelivered_channel_address", "channel", "address"),
    )
    op.create_table(
        "undelivered_recipient",
        Column("undelivered_id", Integer, ForeignKey("undelivered.id"), primary_key=True),
        Column("recipient_name", Text, ForeignKey("recipient.name"), primary_key=True),
        Column("digest_id", Integer, ForeignKey("digest.id"), index=True),
    )


def _find_message_id(message: str) -> str:
    """Return the Message-ID of a mail; a new one for a text."""
    return message_from_string(message)["Message-ID"] or make_msgid(domain="digseason.invalid")
