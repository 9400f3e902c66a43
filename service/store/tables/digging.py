"""Digging: the vigour of blocks, weak patches that something else explains, what was found."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Date,
    Float,
    ForeignKey,
    Integer,
    LargeBinary,
    Table,
    Text,
    UniqueConstraint,
)

from service.store.tables.base import metadata
from service.store.types import UtcInstant

vigour_survey = Table(  # alerts.dig.vigour.Vigour: patches are found in it anew each time
    "vigour_survey",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("block_id", ForeignKey("block.id"), nullable=False),
    Column("measured_on", Date, nullable=False),
    Column("measure", Text, nullable=False),  # the name of its column
    Column("file", Text, nullable=False),
    Column("grid", JSON, nullable=False),  # numbers of its corner, vines a cell
    Column("value", JSON, nullable=False),  # a list a row; null where there is none
    Column("kept_at", UtcInstant, nullable=False),
    UniqueConstraint("block_id", "measured_on", "measure"),
)

patch_set_aside = Table(  # a weak patch that irrigation, the soil or a marked cause explains
    "patch_set_aside",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("block_id", ForeignKey("block.id"), nullable=False, index=True),
    Column("vines", JSON, nullable=False),  # [row, number in the row] each
    Column("person", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("set_at", UtcInstant, nullable=False),
    Column("taken_back_at", UtcInstant),
    Column("taken_back_by", Text),
)


def _shown() -> Iterator[Column[Any]]:
    """Yield the columns of what a dig showed: alerts.dig.records.DigRecord."""
    yield Column("block_id", ForeignKey("block.id"), nullable=False, index=True)
    yield Column("row", Integer, nullable=False)
    yield Column("vine", Integer, nullable=False)
    yield Column("dug_on", Date, nullable=False)
    yield Column("person", Text, nullable=False)
    for name in ("roots", "swellings", "insects", "specimen", "mark", "note"):
        yield Column(name, Text, nullable=False)
    for name in ("dead_roots", "by_lot"):
        yield Column(name, Boolean, nullable=False)
    for name in ("depth_cm", "latitude", "longitude"):
        yield Column(name, Float)
    yield Column("kept_at", UtcInstant, nullable=False)
    yield Column("kept_by", Text, nullable=False)  # an account's address, or who is named


dig_record = Table(  # what digging at a vine showed, as it stands now
    "dig_record",
    metadata,
    Column("record_id", Text, primary_key=True),
    *_shown(),
    Column("withdrawn_at", UtcInstant),
    Column("withdrawn_by", Text),
    Column("withdrawn_why", Text),
)

dig_record_earlier = Table(  # the same as it stood before it was corrected
    "dig_record_earlier",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("record_id", ForeignKey("dig_record.record_id"), nullable=False, index=True),
    *_shown(),
    Column("replaced_at", UtcInstant, nullable=False),
    Column("replaced_by", Text, nullable=False),
)

dig_photo = Table(  # a photo of what was found, as JPEG
    "dig_photo",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("record_id", ForeignKey("dig_record.record_id"), nullable=False),
    Column("sha256", Text, nullable=False),  # of what was sent: the same is kept once
    Column("content", LargeBinary, nullable=False),
    Column("kept_at", UtcInstant, nullable=False),
    Column("kept_by", Text, nullable=False),
    UniqueConstraint("record_id", "sha256"),
)

dig_news = Table(  # that something was suspected or found, or was not after all: to be told
    "dig_news",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("record_id", ForeignKey("dig_record.record_id"), nullable=False, index=True),
    Column("what", Text, nullable=False),  # "suspected" | "found" | "taken back"
    Column("noticed_at", UtcInstant, nullable=False),
)

dig_news_reader = Table(  # who is to be told, settled when it is noticed; once each
    "dig_news_reader",
    metadata,
    Column("dig_news_id", ForeignKey("dig_news.id"), primary_key=True),
    Column("recipient_name", ForeignKey("recipient.name"), primary_key=True),
    Column("digest_id", ForeignKey("digest.id"), index=True),  # None: not composed yet
)

finds_consent = Table(  # that a grower lets the coordinator see what is found at a site
    "finds_consent",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("site_id", ForeignKey("site.id"), nullable=False, index=True),
    Column("agreed_at", UtcInstant, nullable=False),
    Column("agreed_by", Text, nullable=False),
    Column("taken_back_at", UtcInstant),
    Column("taken_back_by", Text),
)
