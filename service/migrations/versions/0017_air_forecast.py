"""Forecasts of the air at sites, and which one an outlook heeds.

Revision ID: 0017
"""

from alembic import op
from sqlalchemy import JSON, Column, Date, Float, ForeignKey, Text

from service.store.types import UtcInstant

revision = "0017"
down_revision = "0016"


def upgrade() -> None:
    """Create the tables; outlooks so far heeded none."""
    op.create_table(
        "site_forecast",
        Column("site_id", Text, ForeignKey("site.id"), primary_key=True),
        Column("spec", JSON, nullable=False),
        Column("attempted_at", UtcInstant),
        Column("fetched_at", UtcInstant),
        Column("failing_since", UtcInstant),
        Column("failure", Text),
    )
    op.create_table(
        "air_forecast",
        Column("site_id", Text, ForeignKey("site.id"), primary_key=True),
        Column("issued_on", Date, primary_key=True),
        Column("day", Date, primary_key=True),
        Column("air_c", Float, nullable=False),
    )
    op.create_table(
        "outlook_air",
        Column("block_id", Text, ForeignKey("block.id"), primary_key=True),
        Column("issued_on", Date, primary_key=True),
        Column("air_issued_on", Date, nullable=False),
    )
