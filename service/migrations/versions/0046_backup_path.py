"""Where the last backup went.

Revision ID: 0046
"""

from alembic import op
from sqlalchemy import Column, Integer, Text, column, select, table

from service.store.types import UtcInstant

revision = "0046"
down_revision = "0045"


def upgrade() -> None:
    """Make the table anew, with what it holds: a column that is added looks another way."""
    before = table("backup_made", column("id", Integer), column("made_at", UtcInstant))
    kept = op.get_bind().execute(select(before)).mappings().all()
    op.drop_table("backup_made")
    anew = op.create_table(
        "backup_made",
        Column("id", Integer, primary_key=True),
        Column("made_at", UtcInstant, nullable=False),
        Column("path", Text),
    )
    op.bulk_insert(anew, [dict(row) for row in kept])
