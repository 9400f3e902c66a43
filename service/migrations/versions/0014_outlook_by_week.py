"""Outlooks by the curves of stations, with chances week by week.

Revision ID: 0014
"""

from alembic import op
from sqlalchemy import JSON, Column, Date, Float, ForeignKey, Integer, Text, column, select, table

revision = "0014"
down_revision = "0013"

KEPT = (
    *("block_id", "issued_on", "event", "season", "kind", "last_day", "curve_of"),
    *("chance", "by_now", "within_7_d", "within_14_d", "p10", "p50", "p90"),
    *("warm_first", "warm_last", "warm_peak_on", "warm_peak_c"),
)


def upgrade() -> None:
    """Make the table of outlooks anew: those kept so far know no chances week by week."""
    days = ("issued_on", "last_day", "p10", "p50", "p90", "warm_first", "warm_last", "warm_peak_on")
    typed = [column(name, Date if name in days else None) for name in KEPT]
    kept = select(*typed).select_from(table("outlook"))
    rows = [
        {**row, "curve_of_station": None, "open_chances": [], "borrowed": []}
        for row in op.get_bind().execute(kept).mappings()
    ]
    op.drop_table("outlook")
    anew = op.create_table(
        "outlook",
        Column("block_id", Text, ForeignKey("block.id"), primary_key=True),
        Column("issued_on", Date, primary_key=True),
        Column("event", Text, primary_key=True),
        Column("season", Integer, nullable=False),
        Column("kind", Text, nullable=False),
        Column("last_day", Date),
        Column("curve_of", Text, ForeignKey("block.id")),
        Column("curve_of_station", Text, ForeignKey("logger.id")),
        Column("chance", Float, nullable=False),
        Column("by_now", Float, nullable=False),
        Column("within_7_d", Float, nullable=False),
        Column("within_14_d", Float, nullable=False),
        Column("p10", Date),
        Column("p50", Date),
        Column("p90", Date),
        Column("warm_first", Date),
        Column("warm_last", Date),
        Column("warm_peak_on", Date),
        Column("warm_peak_c", Float),
        Column("open_chances", JSON, nullable=False),
        Column("borrowed", JSON, nullable=False),
    )
    op.bulk_insert(anew, rows)
