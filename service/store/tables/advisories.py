"""Advisories: what a region is told once a person has released it, and who was told."""

from __future__ import annotations

from sqlalchemy import JSON, Column, Date, ForeignKey, Integer, Table, Text

from service.store.tables.base import metadata
from service.store.types import UtcInstant

advisory = Table(  # held until it is released, dropped, or replaced by another draft
    "advisory",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("as_of", Date, nullable=False),  # the last day of readings
    Column("figures", JSON, nullable=False),  # alerts.advisories.figures.Advisory
    Column("drafted_at", UtcInstant, nullable=False),
    Column("drafted_by", Text),  # None: a round
    Column("replaced_at", UtcInstant),
    Column("released_at", UtcInstant),
    Column("released_by", Text),
    Column("dropped_at", UtcInstant),
    Column("dropped_by", Text),
    Column("dropped_why", Text),
)

advisory_district = Table(  # of which districts only it speaks; where there is none, of the region
    "advisory_district",
    metadata,
    Column("advisory_id", ForeignKey("advisory.id"), primary_key=True),
    Column("district_id", ForeignKey("district.id"), primary_key=True),
)

advisory_note = Table(  # a word on top of it; the last one of a language counts, "" takes it away
    "advisory_note",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("advisory_id", ForeignKey("advisory.id"), nullable=False, index=True),
    Column("language", Text),  # None: every one that has none of its own
    Column("text", Text, nullable=False),
    Column("person", Text, nullable=False),
    Column("noted_at", UtcInstant, nullable=False),
)

advisory_reader = Table(  # the coordinators who are to be told that it waits, once each
    "advisory_reader",
    metadata,
    Column("advisory_id", ForeignKey("advisory.id"), primary_key=True),
    Column("recipient_name", ForeignKey("recipient.name"), primary_key=True),
    Column("digest_id", ForeignKey("digest.id"), index=True),  # None: not composed yet
)

advisory_member = Table(  # the growers for whom it was released; once each
    "advisory_member",
    metadata,
    Column("advisory_id", ForeignKey("advisory.id"), primary_key=True),
    Column("recipient_name", ForeignKey("recipient.name"), primary_key=True),
    Column("digest_id", ForeignKey("digest.id"), index=True),  # None: not composed, or left out
    Column("left_out", Text),  # why
)
