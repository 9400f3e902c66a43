"""Who may see and do what, and how often: accounts, their sessions and tokens, what they did."""

from __future__ import annotations

from sqlalchemy import Boolean, Column, ForeignKey, Integer, Table, Text

from service.store.tables.base import metadata
from service.store.types import UtcInstant

attempt = Table(  # what someone did within a span, however many processes serve
    "attempt",
    metadata,
    Column("kind", Text, primary_key=True),
    Column("of", Text, primary_key=True),  # a phone, an address, a name
    Column("count", Integer, nullable=False),
    Column("ends_at", UtcInstant, nullable=False, index=True),
)

account = Table(  # one who signs in
    "account",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("email", Text, nullable=False, unique=True),  # in lower case
    Column("name", Text, nullable=False),
    Column("role", Text, nullable=False),  # "grower" | "researcher" | "coordinator" | ...
    Column("language", Text),  # None: that of the browser
    Column("unit", Text, nullable=False),  # "F" | "C"
    Column("recipient_name", ForeignKey("recipient.name")),  # who is told as the same person
    Column("password_hash", Text),  # None: none is chosen yet
    Column("link_count", Integer, nullable=False),  # of its one-time links only the last one holds
    Column("made_at", UtcInstant, nullable=False),
    Column("signed_in_at", UtcInstant),
    Column("revoked_at", UtcInstant),
)

account_site = Table(  # the sites of a grower
    "account_site",
    metadata,
    Column("account_id", ForeignKey("account.id"), primary_key=True),
    Column("site_id", ForeignKey("site.id"), primary_key=True),
)

account_district = Table(  # the districts of a coordinator; none: the whole region
    "account_district",
    metadata,
    Column("account_id", ForeignKey("account.id"), primary_key=True),
    Column("district_id", ForeignKey("district.id"), primary_key=True),
)

session = Table(  # a browser that is signed in; only the hash of its secret is kept
    "session",
    metadata,
    Column("sha256", Text, primary_key=True),
    Column("account_id", ForeignKey("account.id"), nullable=False, index=True),
    Column("made_at", UtcInstant, nullable=False),
    Column("seen_at", UtcInstant, nullable=False),
    Column("expires_at", UtcInstant, nullable=False),
)

token = Table(  # lets a program in; only the hash of its secret is kept
    "token",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("sha256", Text, nullable=False, unique=True),
    Column("scope", Text, nullable=False),  # service.store.tokens.Scope
    Column("logger_id", ForeignKey("logger.id")),
    Column("account_id", ForeignKey("account.id")),
    Column("name", Text, nullable=False),  # what it is for
    Column("made_at", UtcInstant, nullable=False),
    Column("expires_at", UtcInstant),
    Column("last_used_at", UtcInstant),
    Column("revoked_at", UtcInstant),
)

audit = Table(  # who did what, and when; kept for good
    "audit",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("at", UtcInstant, nullable=False),
    Column("who", Text, nullable=False),  # an account's address, or "console"
    Column("what", Text, nullable=False),
    Column("about", Text, nullable=False),
)

site_sharing = Table(  # a grower's consent that others see a site
    "site_sharing",
    metadata,
    Column("site_id", ForeignKey("site.id"), primary_key=True),
    Column("is_exact", Boolean, nullable=False),  # whether they see where it lies, to the metre
    Column("agreed_at", UtcInstant, nullable=False),
    Column("agreed_by", Text, nullable=False),
)
