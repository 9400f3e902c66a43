"""How much has ever come in, and messages that ended, to be counted fast.

Revision ID: 0044
"""

from alembic import op
from sqlalchemy import BigInteger, Column, ForeignKey, Text, text

revision = "0044"
down_revision = "0043"

COUNTS = ("inserted", "identical", "conflicting", "rejected", "missing")


def upgrade() -> None:
    """Create the table, fill it by what came in so far, and index what ended."""
    op.create_table(
        "intake_tally",
        Column("logger_id", Text, ForeignKey("logger.id"), primary_key=True),
        Column("source", Text, primary_key=True),
        *(Column(name, BigInteger, nullable=False) for name in ("deliveries", *COUNTS)),
    )
    op.execute(
        "insert into intake_tally "
        "select logger_id, source, count(*), sum(inserted), sum(identical), sum(conflicting), "
        "sum(rejected), sum(missing) from import_batch group by logger_id, source"
    )
    op.create_index(
        "ix_outbox_ended",
        "outbox",
        ["ended"],
        sqlite_where=text("ended IS NOT NULL"),
        postgresql_where=text("ended IS NOT NULL"),
    )
