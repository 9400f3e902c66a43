"""What a soil thermometer is called, its unit, and the errors of days that were read by hand.

Revision ID: 0008
"""

from alembic import op
from sqlalchemy import JSON, Column, Date, Float, ForeignKey, Integer, Text

from service.store.types import UtcInstant

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Make the table of thermometers anew, into which nothing could be written so far."""
    op.drop_table("hand_thermometer")
    op.create_table(
        "hand_thermometer",
        Column("logger_id", Text, ForeignKey("logger.id"), primary_key=True),
        Column("name", Text, nullable=False),
        Column("unit", Text),
        Column("hour_corrections_c", JSON, nullable=False),
        Column("error_c", Float),
    )
    op.create_table(
        "hand_note",
        Column("import_id", Integer, ForeignKey("import_batch.id"), primary_key=True),
        Column("number", Integer, primary_key=True),
        Column("probe_id", Integer, ForeignKey("probe.id"), nullable=False),
        Column("observed_at", UtcInstant, nullable=False),
        Column("said", Text, nullable=False),
        Column("person", Text, nullable=False),
        Column("note", Text, nullable=False),
    )
    op.create_table(
        "daily_error",
        Column("probe_id", Integer, ForeignKey("probe.id"), primary_key=True),
        Column("day", Date, primary_key=True),
        Column("error_c", Float, nullable=False),
    )
