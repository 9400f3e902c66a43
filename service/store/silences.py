"""Silences: kept while they last, with what is told of them and to whom."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, insert, select, update

from alerts.silence import Kind
from alerts.silence_news import SilenceNotice
from service.store.among import among
from service.store.blocks import fetch_blocks
from service.store.tables import (
    block,
    logger,
    probe,
    recipient,
    recipient_block,
    silence,
    silence_notice,
    silence_recipient,
    site,
)


@dataclass(frozen=True)
class Silence:
    """A silence that is known of: what it is, and the last usable reading before it."""

    id: int
    kind: Kind
    last_reading_at: datetime


def fetch_silences(connection: Connection) -> dict[str, dict[int | None, Silence]]:
    """Return the silences that last, by logger, then by probe; None: all of the logger."""
    lasting: dict[str, dict[int | None, Silence]] = defaultdict(dict)
    query = select(silence).where(silence.c.returned_at.is_(None)).order_by(silence.c.id)
    for row in connection.execute(query):
        lasting[row.logger_id][row.probe_id] = Silence(row.id, row.kind, row.last_reading_at)
    return lasting


def add_silence(
    connection: Connection,
    logger_id: str,
    probe_id: int | None,
    kind: Kind,
    last_reading_at: datetime,
    now: datetime,
) -> int:
    """Keep that a logger or probe is silent; return the number of the silence."""
    row = {
        "logger_id": logger_id,
        "probe_id": probe_id,
        "kind": kind,
        "last_reading_at": last_reading_at,
        "noticed_at": now,
    }
    return connection.execute(insert(silence).values(row).returning(silence.c.id)).scalar_one()


def end_silence(connection: Connection, silence_id: int, now: datetime) -> None:
    """Keep that a silence is over."""
    of_silence = silence.c.id == silence_id
    connection.execute(update(silence).where(of_silence).values(returned_at=now))


def store_silence_notice(
    connection: Connection,
    silence_id: int,
    notice: SilenceNotice,
    block_ids: Iterable[str],
    readers: Iterable[str],
) -> None:
    """Keep what is to be told of a silence, and to whom."""
    row = {name: value for name, value in vars(notice).items() if name in silence_notice.c}
    row |= {"silence_id": silence_id, "block_ids": sorted(block_ids)}
    made = insert(silence_notice).values(row).returning(silence_notice.c.id)
    notice_id = connection.execute(made).scalar_one()
    for name in readers:
        connection.execute(
            insert(silence_recipient).values(silence_notice_id=notice_id, recipient_name=name)
        )


def fetch_waiting_silences(connection: Connection) -> dict[str, list[tuple[int, SilenceNotice]]]:
    """Return, per recipient, what no digest tells yet of silences, with its numbers."""
    query = (
        select(
            silence_recipient.c.recipient_name,
            recipient.c.all_blocks,
            silence_notice,
            silence.c.logger_id,
            (logger.c.kind == "station").label("is_station"),
            site.c.name.label("site_name"),
        )
        .join(recipient, recipient.c.name == silence_recipient.c.recipient_name)
        .join(silence_notice, silence_notice.c.id == silence_recipient.c.silence_notice_id)
        .join(silence, silence.c.id == silence_notice.c.silence_id)
        .join(logger, logger.c.id == silence.c.logger_id)
        .join(site, site.c.id == logger.c.site_id)
        .where(silence_recipient.c.digest_id.is_(None))
        .order_by(silence_recipient.c.recipient_name, silence_notice.c.id)
    )
    waiting: dict[str, list[tuple[int, SilenceNotice]]] = defaultdict(list)
    rows = connection.execute(query).mappings().all()
    names = dict(connection.execute(select(block.c.id, block.c.name)).all()) if rows else {}
    theirs = set(connection.execute(select(recipient_block)).all()) if rows else set()
    users = _find_users(connection) if rows else {}
    for row in rows:
        reader = row["recipient_name"]
        fields = {name: row[name] for name in SilenceNotice.__dataclass_fields__ if name in row}
        ids = [one for one in row["block_ids"] if row["all_blocks"] or (reader, one) in theirs]
        resting = [one for one in ids if one in users.get(row["logger_id"], ())]
        fields["block_names"] = tuple(names[one] for one in resting)
        fields["borrower_names"] = tuple(names[one] for one in ids if one not in resting)
        waiting[reader].append((row["id"], SilenceNotice(**fields)))
    return waiting


def _find_users(connection: Connection) -> dict[str, set[str]]:
    """Return, by logger, the blocks that one of its probes serves or has served."""
    logger_of = dict(connection.execute(select(probe.c.id, probe.c.logger_id)).all())
    users: dict[str, set[str]] = defaultdict(set)
    for one in fetch_blocks(connection):
        for stretch in one.stretches:
            users[logger_of[stretch.probe_id]].add(one.id)
    return users


def mark_silences_composed(
    connection: Connection, recipient_name: str, notice_ids: Collection[int], digest_id: int
) -> None:
    """Note that a digest tells these to a recipient."""
    connection.execute(
        update(silence_recipient)
        .where(
            silence_recipient.c.recipient_name == recipient_name,
            among(silence_recipient.c.silence_notice_id, notice_ids),
        )
        .values(digest_id=digest_id)
    )
