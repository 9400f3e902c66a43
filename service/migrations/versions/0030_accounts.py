"""Accounts, their sessions and tokens, what they did, and which sites are shared.

Revision ID: 0030
"""

from alembic import op
from sqlalchemy import Boolean, Column, ForeignKey, Integer, Text

from service.store.types import UtcInstant

revision = "0030"
down_revision = "0029"


def upgrade() -> None:
    """Create the tables; the tokens of loggers become those of one scope among others."""
    op.create_table(
        "account",
        Column("id", Integer, primary_key=True),
        Column("email", Text, nullable=False, unique=True),
        Column("name", Text, nullable=False),
        Column("role", Text, nullable=False),
        Column("language", Text),
        Column("unit", Text, nullable=False),
        Column("recipient_name", Text, ForeignKey("recipient.name")),
        Column("password_hash", Text),
        Column("link_count", Integer, nullable=False),
        Column("made_at", UtcInstant, nullable=False),
        Column("signed_in_at", UtcInstant),
        Column("revoked_at", UtcInstant),
    )
    op.create_table(
        "account_site",
        Column("account_id", Integer, ForeignKey("account.id"), primary_key=True),
        Column("site_id", Text, ForeignKey("site.id"), primary_key=True),
    )
    op.create_table(
        "account_district",
        Column("account_id", Integer, ForeignKey("account.id"), primary_key=True),
        Column("district_id", Text, ForeignKey("district.id"), primary_key=True),
    )
    op.create_table(
        "session",
        Column("sha256", Text, primary_key=True),
        Column("account_id", Integer, ForeignKey("account.id"), nullable=False, index=True),
        Column("made_at", UtcInstant, nullable=False),
        Column("seen_at", UtcInstant, nullable=False),
        Column("expires_at", UtcInstant, nullable=False),
    )
    op.create_table(
        "token",
        Column("id", Integer, primary_key=True),
        Column("sha256", Text, nullable=False, unique=True),
        Column("scope", Text, nullable=False),
        Column("logger_id", Text, ForeignKey("logger.id")),
        Column("account_id", Integer, ForeignKey("account.id")),
        Column("name", Text, nullable=False),
        Column("made_at", UtcInstant, nullable=False),
        Column("expires_at", UtcInstant),
        Column("last_used_at", UtcInstant),
        Column("revoked_at", UtcInstant),
    )
    op.execute(
        "insert into token (id, sha256, scope, logger_id, name, made_at, last_used_at, revoked_at) "
        "select id, sha256, 'push', logger_id, '', made_at, last_used_at, revoked_at "
        "from push_token"
    )
    if op.get_bind().dialect.name == "postgresql":
        op.execute("select setval('token_id_seq', (select max(id) from push_token))")
    op.drop_table("push_token")
    op.create_table(
        "audit",
        Column("id", Integer, primary_key=True),
        Column("at", UtcInstant, nullable=False),
        Column("who", Text, nullable=False),
        Column("what", Text, nullable=False),
        Column("about", Text, nullable=False),
    )
    op.create_table(
        "site_sharing",
        Column("site_id", Text, ForeignKey("site.id"), primary_key=True),
        Column("is_exact", Boolean, nullable=False),
        Column("agreed_at", UtcInstant, nullable=False),
        Column("agreed_by", Text, nullable=False),
    )
