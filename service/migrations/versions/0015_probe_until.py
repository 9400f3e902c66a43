"""Probes that are taken out of the ground.

Revision ID: 0015
"""

from alembic import op
from sqlalchemy import Column, Date, Float, ForeignKey, Integer, column, select, table

revision = "0015"
down_revision = "0014"

COLUMNS = (
    Column("probe_id", Integer, ForeignKey("probe.id"), primary_key=True),
    Column("valid_from", Date, primary_key=True),
    Column("depth_cm", Float, nullable=False),
    Column("calibration_offset_c", Float, nullable=False),
)


def upgrade() -> None:
    """Make the table of stretches anew: so far each lasted until the next."""
    kept = select(*(column(one.name, one.type) for one in COLUMNS)).select_from(
        table("probe_stretch")
    )
    rows = [{**row, "until": None} for row in op.get_bind().execute(kept).mappings()]
    op.drop_table("probe_stretch")
    anew = op.create_table("probe_stretch", *COLUMNS, Column("until", Date))
    op.bulk_insert(anew, rows)
