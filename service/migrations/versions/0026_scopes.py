"""Recipients are told about blocks, sites and districts.

Revision ID: 0026
"""

from alembic import op
from sqlalchemy import Column, ForeignKey, Text

revision = "0026"
down_revision = "0025"


def upgrade() -> None:
    """Create the table; so far each named blocks, or all."""
    op.create_table(
        "recipient_scope",
        Column("recipient_name", Text, ForeignKey("recipient.name"), primary_key=True),
        Column("kind", Text, primary_key=True),
        Column("named", Text, primary_key=True),
    )
    op.execute(
        "insert into recipient_scope (recipient_name, kind, named) "
        "select recipient_name, 'blocks', block_id from recipient_block"
    )
