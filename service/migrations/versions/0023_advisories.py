"""Advisories: drafted, released by a person, and who was told.

Revision ID: 0023
"""

from alembic import op
from sqlalchemy import JSON, Column, Date, ForeignKey, Integer, Text

from service.store.types import UtcInstant

revision = "0023"
down_revision = "0022"


def upgrade() -> None:
    """Create the tables; none was drafted so far."""
    op.create_table(
        "advisory",
        Column("id", Integer, primary_key=True),
        Column("as_of", Date, nullable=False),
        Column("figures", JSON, nullable=False),
        Column("drafted_at", UtcInstant, nullable=False),
        Column("drafted_by", Text),
        Column("replaced_at", UtcInstant),
        Column("released_at", UtcInstant),
        Column("released_by", Text),
        Column("dropped_at", UtcInstant),
        Column("dropped_by", Text),
        Column("dropped_why", Text),
    )
    op.create_table(
        "advisory_note",
        Column("id", Integer, primary_key=True),
        Column("advisory_id", Integer, ForeignKey("advisory.id"), nullable=False),
        Column("language", Text),
        Column("text", Text, nullable=False),
        Column("person", Text, nullable=False),
        Column("noted_at", UtcInstant, nullable=False),
    )
    op.create_index("ix_advisory_note_advisory_id", "advisory_note", ["advisory_id"])
    for name, more in (
        ("advisory_reader", []),
        ("advisory_member", [Column("left_out", Text)]),
    ):
        op.create_table(
            name,
            Column("advisory_id", Integer, ForeignKey("advisory.id"), primary_key=True),
            Column("recipient_name", Text, ForeignKey("recipient.name"), primary_key=True),
            Column("digest_id", Integer, ForeignKey("digest.id")),
            *more,
        )
        op.create_index(f"ix_{name}_digest_id", name, ["digest_id"])
