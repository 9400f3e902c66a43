"""Where to dig: the vigour of blocks, and the weak patches that something else explains."""

from __future__ import annotations

from sqlalchemy import JSON, Column, Date, ForeignKey, Integer, Table, Text, UniqueConstraint

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
