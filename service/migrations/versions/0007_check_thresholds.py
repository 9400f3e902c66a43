"""Thresholds of the farm file, and loggers whose readings are from before all checks.

Revision ID: 0007
"""

from alembic import op
from sqlalchemy import JSON, Column, ForeignKey, Text

from service.store.types import UtcInstant

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Create the tables, and mark the loggers of which readings have no result of any check."""
    op.create_table(
        "checks",
        Column("name", Text, primary_key=True),
        Column("spec", JSON, nullable=False),
        Column("retired_at", UtcInstant),
    )
    op.create_table(
        "unchecked_logger",
        Column("logger_id", Text, ForeignKey("logger.id"), primary_key=True),
    )
    op.execute(
        "insert into unchecked_logger select id from logger where exists (select 1 from probe "
        "join reading on reading.probe_id = probe.id "
        "where probe.logger_id = logger.id and reading.checks = 0)"
    )
