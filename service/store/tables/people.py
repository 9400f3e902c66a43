"""Who is told: recipients, what they want, what they agreed to and what they answered."""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    ForeignKey,
    Integer,
    Table,
    Text,
    UniqueConstraint,
)

from service.store.tables.base import metadata, retired
from service.store.types import UtcInstant

recipient = Table(
    "recipient",
    metadata,
    Column("name", Text, primary_key=True),
    Column("role", Text, nullable=False),  # "grower" | "researcher" | "coordinator"
    Column("email", Text),
    Column("phone", Text),
    Column("channels", JSON, nullable=False),  # of "mail", "sms"
    Column("language", Text, nullable=False),
    Column("unit", Text, nullable=False),  # "F" | "C"
    Column("hour", Integer, nullable=False),  # local hour of the digest
    Column("all_blocks", Boolean, nullable=False),
    retired(),
)

recipient_scope = Table(  # what the farm file says that they are told about; none: all blocks
    "recipient_scope",
    metadata,
    Column("recipient_name", ForeignKey("recipient.name"), primary_key=True),
    Column("kind", Text, primary_key=True),  # "blocks" | "sites" | "districts"
    Column("named", Text, primary_key=True),  # the id of one
)

recipient_block = Table(  # the blocks that these come to, as of the last set-up
    "recipient_block",
    metadata,
    Column("recipient_name", ForeignKey("recipient.name"), primary_key=True),
    Column("block_id", ForeignKey("block.id"), primary_key=True),
)

recipient_quiet = Table(  # hours in which nothing is sent to them, "HH:MM" of their clock
    "recipient_quiet",
    metadata,
    Column("recipient_name", ForeignKey("recipient.name"), primary_key=True),
    Column("quiet_from", Text, nullable=False),
    Column("quiet_until", Text, nullable=False),
)

address_consent = Table(  # whether someone wants to be told at an address; kept for good
    "address_consent",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("recipient_name", ForeignKey("recipient.name"), nullable=False),
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

forgotten_address = Table(  # one whose reader was forgotten: nothing is ever sent there unasked
    "forgotten_address",
    metadata,
    Column("hash", Text, primary_key=True),  # service.store.forgetting
    Column("salt", Text, nullable=False),  # the same in all rows
    Column("forgotten_at", UtcInstant, nullable=False),
)

text_received = Table(  # a text that came from a phone
    "text_received",
    metadata,
    Column("id", Text, primary_key=True),  # its gateway's own
    Column("phone", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("received_at", UtcInstant, nullable=False),
    Column("answer", Text),  # None: no one is told by that number
)

dug = Table(  # who has dug in a window, and hears no more of it but its close
    "dug",
    metadata,
    Column("recipient_name", ForeignKey("recipient.name"), primary_key=True),
    Column("block_id", ForeignKey("block.id"), primary_key=True),
    Column("season", Integer, primary_key=True),
    Column("kind", Text, primary_key=True),
    Column("said_at", UtcInstant, nullable=False),
    Column("how", Text, nullable=False),
    Column("taken_back_at", UtcInstant),
)
