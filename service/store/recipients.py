"""Those who are told: how, in which language and unit, and at which hour of their day."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, case, exists, func, or_, select

from probes.units import Unit
from service.store.among import among
from service.store.tables import (
    block,
    digest,
    notice_recipient,
    recipient,
    recipient_block,
    recipient_quiet,
    silence_recipient,
    site,
    undelivered_recipient,
)

_TOLD = notice_recipient, silence_recipient, undelivered_recipient
"""What a digest tells; a request for consent tells nothing and takes no digest's day."""


@dataclass(frozen=True)
class Recipient:
    """One who is told. `timezone` is that of the first site (by name) of their blocks."""

    name: str
    email: str | None
    phone: str | None
    channels: tuple[str, ...]
    language: str
    unit: Unit
    hour: int
    timezone: str
    last_digest_at: datetime | None
    quiet: tuple[str, str] | None = None

    @property
    def addresses(self) -> list[tuple[str, str]]:
        """Return (channel, address) for each channel that has an address."""
        of_channel = {"mail": self.email, "sms": self.phone}
        return [(c, address) for c in self.channels if (address := of_channel[c])]


def fetch_recipients(connection: Connection) -> dict[str, Recipient]:
    """Return the active recipients by name."""
    zones = (
        select(site.c.timezone)
        .join(block, block.c.site_id == site.c.id)
        .where(block.c.retired_at.is_(None))
        .order_by(site.c.name)
        .limit(1)
    )
    of_own = (
        zones.join(recipient_block, recipient_block.c.block_id == block.c.id)
        .where(recipient_block.c.recipient_name == recipient.c.name)
        .correlate(recipient)
    )
    first_zone = case(
        (recipient.c.all_blocks, zones.scalar_subquery()), else_=of_own.scalar_subquery()
    )
    last_digest = (
        select(func.max(digest.c.composed_at))
        .where(
            digest.c.recipient_name == recipient.c.name,
            or_(*(exists().where(t.c.digest_id == digest.c.id) for t in _TOLD)),
        )
        .scalar_subquery()
    )
    query = (
        select(
            recipient,
            recipient_quiet.c.quiet_from,
            recipient_quiet.c.quiet_until,
            first_zone.label("timezone"),
            last_digest.label("last_digest_at"),
        )
        .outerjoin(recipient_quiet)
        .where(recipient.c.retired_at.is_(None))
    )
    return {
        row.name: Recipient(
            name=row.name,
            email=row.email,
            phone=row.phone,
            channels=tuple(row.channels),
            language=row.language,
            unit=row.unit,
            hour=row.hour,
            timezone=row.timezone or "UTC",
            last_digest_at=row.last_digest_at,
            quiet=(row.quiet_from, row.quiet_until) if row.quiet_from else None,
        )
        for row in connection.execute(query)
    }


def fetch_growers(connection: Connection) -> dict[str, frozenset[str]]:
    """Return the active growers who are told about any block, each with the districts of theirs."""
    query = (
        select(recipient.c.name, site.c.district_id)
        .outerjoin(recipient_block, recipient_block.c.recipient_name == recipient.c.name)
        .join(block, recipient.c.all_blocks | (recipient_block.c.block_id == block.c.id))
        .join(site, site.c.id == block.c.site_id)
        .where(
            recipient.c.role == "grower",
            recipient.c.retired_at.is_(None),
            block.c.retired_at.is_(None),
        )
        .distinct()
    )
    found: dict[str, set[str]] = defaultdict(set)
    for name, district_id in connection.execute(query):
        found[name].add(district_id or "")
    return {name: frozenset(own) for name, own in found.items()}


def find_readers(connection: Connection, block_ids: Collection[str]) -> dict[str, str]:
    """Return the active recipients who are told about any of some blocks, with their roles."""
    query = (
        select(recipient.c.name, recipient.c.role)
        .outerjoin(recipient_block, recipient_block.c.recipient_name == recipient.c.name)
        .where(
            recipient.c.retired_at.is_(None),
            or_(recipient.c.all_blocks, among(recipient_block.c.block_id, block_ids)),
        )
        .distinct()
    )
    return {row.name: row.role for row in connection.execute(query)}
