"""The vigour of blocks, and the weak patches that something else explains.

Revision ID: 0029
"""

from alembic import op
from sqlalchemy import JSON, Column, Date, ForeignKey, Integer, Text, UniqueConstraint

from service.store.types import UtcInstant

revision = "0029"
down_revision = "0028"


def upgrade() -> None:
    """Create the tables; nothing has been measured so far."""
    op.create_table(
        "vigour_survey",
        Column("id", Integer, primary_key=True),
        Column("block_id", Text, ForeignKey("block.id"), nullable=False),
        Column("measured_on", Date, nullable=False),
        Column("measure", Text, nullable=False),
        Column("file", Text, nullable=False),
        Column("grid", JSON, nullable=False),
        Column("value", JSON, nullable=False),
        Column("kept_at", UtcInstant, nullable=False),
        UniqueConstraint("block_id", "measured_on", "measure"),
    )
    op.create_table(
        "patch_set_aside",
        Column("id", Integer, primary_key=True),
        Column("block_id", Text, ForeignKey("block.id"), nullable=False, index=True),
        Column("vines", JSON, nullable=False),
        Column("person", Text, nullable=False),
        Column("why", Text, nullable=False),
        Column("set_at", UtcInstant, nullable=False),
        Column("taken_back_at", UtcInstant),
        Column("taken_back_by", Text),
    )
