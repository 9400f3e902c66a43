"""Readings by year, where PostgreSQL keeps them.

Revision ID: 0024
"""

from datetime import UTC, datetime

from alembic import op
from sqlalchemy import Column, Float, Integer, SmallInteger, text

from service.store.partitions import make_partitions
from service.store.types import UtcInstant

revision = "0024"
down_revision = "0023"


def upgrade() -> None:
    """Copy the readings into a table with partitions, which takes their space twice meanwhile."""
    connection = op.get_bind()
    if connection.dialect.name != "postgresql":
        return
    op.execute("alter table reading rename to reading_before")
    op.execute("alter index pk_reading rename to pk_reading_before")
    reading = op.create_table(
        "reading",
        Column("probe_id", Integer, primary_key=True),
        Column("observed_at", UtcInstant, primary_key=True),
        Column("soil_temp_c", Float, nullable=False),
        Column("flag", SmallInteger, nullable=False),
        Column("checks", Integer, nullable=False),
        Column("import_id", Integer, nullable=False),
        postgresql_partition_by="RANGE (observed_at)",
    )
    held = text("select distinct extract(year from observed_at)::int from reading_before")
    this_year = datetime.now(UTC).year
    years = sorted({*connection.scalars(held), this_year, this_year + 1})
    make_partitions(connection, reading, years)
    op.execute("insert into reading select * from reading_before")
    op.drop_table("reading_before")
