"""What is to be sent, and what does not arrive."""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    Table,
    Text,
    UniqueConstraint,
    and_,
)

from service.store.tables.base import metadata
from service.store.types import UtcInstant

outbox = Table(
    "outbox",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("digest_id", ForeignKey("digest.id"), nullable=False),
    Column("channel", Text, nullable=False),  # "mail" | "sms"
    Column("address", Text, nullable=False),
    Column("message_id", Text, nullable=False, unique=True),  # of the mail; made for a text too
    Column("created_at", UtcInstant, nullable=False),
    Column("leased_until", UtcInstant),
    Column("attempts", Integer, nullable=False),
    Column("next_try_at", UtcInstant),  # None: as soon as may be
    Column("failure", Text),  # the last one, in words
    Column("delivered_at", UtcInstant),  # handed over
    Column("receipt", Text),  # what was said to it
    Column("ended", Text),  # "refused" | "given up" | "bounced" | "dropped"; None: none of them
    Column("ended_at", UtcInstant),
    Column("ended_by", Text),
    Column("message", Text, nullable=False),  # the whole mail, or the text of the SMS
    UniqueConstraint("digest_id", "channel"),
)
Index(
    "ix_outbox_waiting",
    outbox.c.channel,
    outbox.c.id,
    sqlite_where=and_(outbox.c.delivered_at.is_(None), outbox.c.ended.is_(None)),
    postgresql_where=and_(outbox.c.delivered_at.is_(None), outbox.c.ended.is_(None)),
)
Index(
    "ix_outbox_ended",
    outbox.c.ended,
    sqlite_where=outbox.c.ended.is_not(None),
    postgresql_where=outbox.c.ended.is_not(None),
)

sending_hold = Table(  # nothing is sent until a person lets it go on; no row: all goes
    "sending_hold",
    metadata,
    Column("id", Integer, primary_key=True),  # always 1
    Column("since", UtcInstant, nullable=False),
    Column("why", Text, nullable=False),
)

channel_trouble = Table(  # a channel that takes nothing now; no row: as far as is known it does
    "channel_trouble",
    metadata,
    Column("channel", Text, primary_key=True),
    Column("since", UtcInstant, nullable=False),
    Column("attempts", Integer, nullable=False),
    Column("next_try_at", UtcInstant, nullable=False),
    Column("failure", Text, nullable=False),
)

undelivered = Table(  # a message that does not arrive, or an address where nothing does
    "undelivered",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("recipient_name", ForeignKey("recipient.name"), nullable=False),
    Column("channel", Text, nullable=False),
    Column("address", Text, nullable=False),
    Column("outbox_id", ForeignKey("outbox.id")),  # None: not even composed
    Column("why", Text, nullable=False),
    Column("noticed_at", UtcInstant, nullable=False),
    Column("suspends", Boolean, nullable=False),  # its address, until that is lifted
    Column("lifted_at", UtcInstant),
    Column("lifted_by", Text),
    Index(None, "channel", "address"),
)

undelivered_recipient = Table(  # the coordinators who are to be told, once each
    "undelivered_recipient",
    metadata,
    Column("undelivered_id", ForeignKey("undelivered.id"), primary_key=True),
    Column("recipient_name", ForeignKey("recipient.name"), primary_key=True),
    Column("digest_id", ForeignKey("digest.id"), index=True),  # None: not composed yet
)
