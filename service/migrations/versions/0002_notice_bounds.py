"""How far the dates of a notice may be off.

Revision ID: 0002
"""

from alembic import op
from sqlalchemy import Column, Date, ForeignKey, Integer

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Create the table; notices made before have no row in it."""
    op.create_table(
        "notice_bounds",
        Column("notice_id", Integer, ForeignKey("notice.id"), primary_key=True),
        Column("closed_not_before", Date),
        Column("opened_earliest", Date),
        Column("opened_latest", Date),
        Column("closed_earliest", Date),
        Column("closed_latest", Date),
    )
