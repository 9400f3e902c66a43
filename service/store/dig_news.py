"""What is to be told of digs, and to whom."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, delete, func, insert, select, update

from alerts.dig.find_news import FindNews, What
from service.store.among import among
from service.store.dig_records import fetch_versions
from service.store.tables import (
    block,
    dig_news,
    dig_news_reader,
    dig_record,
    digest,
    recipient,
    site,
)

_WAITS = dig_news_reader.c.digest_id.is_(None)


@dataclass(frozen=True)
class WaitingFind:
    """Something that waits to be told to someone of a role."""

    id: int
    site_id: str
    role: str
    news: FindNews


def fetch_last_what(connection: Connection, record_id: str) -> What | None:
    """Return what was noticed last of a record."""
    query = select(dig_news.c.what).where(dig_news.c.record_id == record_id)
    return connection.scalar(query.order_by(dig_news.c.id.desc()).limit(1))


def fetch_who_heard(connection: Connection, record_id: str) -> list[str]:
    """Return who was told anything of a record."""
    query = (
        select(dig_news_reader.c.recipient_name)
        .join(dig_news)
        .where(dig_news.c.record_id == record_id, ~_WAITS)
        .distinct()
    )
    return sorted(connection.scalars(query))


def add_news(
    connection: Connection, record_id: str, what: What, readers: Iterable[str], now: datetime
) -> None:
    """Keep something to tell, instead of what waits to be told of the same record."""
    of_record = select(dig_news.c.id).where(dig_news.c.record_id == record_id)
    old = delete(dig_news_reader).where(_WAITS, dig_news_reader.c.dig_news_id.in_(of_record))
    connection.execute(old)
    row = {"record_id": record_id, "what": what, "noticed_at": now}
    news_id = connection.execute(insert(dig_news).values(row).returning(dig_news.c.id)).scalar_one()
    told = [{"dig_news_id": news_id, "recipient_name": name} for name in readers]
    if told:
        connection.execute(insert(dig_news_reader), told)


def fetch_waiting_finds(connection: Connection) -> dict[str, list[WaitingFind]]:
    """Return what waits for each reader, in the order in which it came."""
    query = (
        select(
            *(dig_news_reader.c.recipient_name, dig_news.c.id, dig_news.c.what),
            *(dig_news.c.record_id, recipient.c.role, site.c.id.label("site_id")),
            *(block.c.name.label("block_name"), site.c.name.label("site_name")),
        )
        .join(dig_news, dig_news.c.id == dig_news_reader.c.dig_news_id)
        .join(recipient, recipient.c.name == dig_news_reader.c.recipient_name)
        .join(dig_record, dig_record.c.record_id == dig_news.c.record_id)
        .join(block, block.c.id == dig_record.c.block_id)
        .join(site, site.c.id == block.c.site_id)
        .where(_WAITS)
        .order_by(dig_news.c.id)
    )
    found: defaultdict[str, list[WaitingFind]] = defaultdict(list)
    for row in connection.execute(query).all():
        version = fetch_versions(connection, row.record_id)[0]
        withdrawn = version.withdrawn_why is not None
        news = FindNews(row.what, version.record, row.block_name, row.site_name, withdrawn)
        found[row.recipient_name].append(WaitingFind(row.id, row.site_id, row.role, news))
    return dict(found)


def fetch_last_told_at(connection: Connection) -> dict[str, datetime]:
    """Return when each reader was told last."""
    query = (
        select(digest.c.recipient_name, func.max(digest.c.composed_at).label("told_at"))
        .join(dig_news_reader, dig_news_reader.c.digest_id == digest.c.id)
        .group_by(digest.c.recipient_name)
    )
    return {row.recipient_name: row.told_at for row in connection.execute(query)}


def leave_out(connection: Connection, recipient_name: str, news_ids: Collection[int]) -> None:
    """Let someone not be told after all."""
    connection.execute(delete(dig_news_reader).where(*_of_reader(recipient_name, news_ids)))


def mark_finds_composed(
    connection: Connection, recipient_name: str, news_ids: Collection[int], digest_id: int
) -> None:
    """Note the digest that tells a reader some news."""
    of_reader = update(dig_news_reader).where(*_of_reader(recipient_name, news_ids))
    connection.execute(of_reader.values(digest_id=digest_id))


def _of_reader(recipient_name: str, news_ids: Collection[int]) -> tuple[Any, Any]:
    is_one = dig_news_reader.c.recipient_name == recipient_name
    return is_one, among(dig_news_reader.c.dig_news_id, news_ids)
