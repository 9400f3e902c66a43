"""Notices that say what readings no longer tell.

Revision ID: 0009
"""

from alembic import op
from sqlalchemy import Boolean, Column, ForeignKey, Integer, column, select, table

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    """Make the table of what was not measured anew: all notices so far said how things stood."""
    kept = select(*map(column, ("notice_id", "carried", "estimated"))).select_from(
        table("notice_estimate")
    )
    rows = [{**row, "not_known": False} for row in op.get_bind().execute(kept).mappings()]
    op.drop_table("notice_estimate")
    anew = op.create_table(
        "notice_estimate",
        Column("notice_id", Integer, ForeignKey("notice.id"), primary_key=True),
        Column("carried", Boolean, nullable=False),
        Column("estimated", Boolean, nullable=False),
        Column("not_known", Boolean, nullable=False),
    )
    op.bulk_insert(anew, rows)
