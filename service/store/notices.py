"""Notices: kept when made, with those who are to be told; read back to know what was told."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime
from typing import Any, NamedTuple

from sqlalchemy import (
    ColumnElement,
    Connection,
    FromClause,
    delete,
    exists,
    false,
    func,
    insert,
    select,
    update,
)

from alerts.bounds import DateRange
from alerts.changes import Told
from alerts.notices import (
    HandSource,
    Neighbour,
    NeighbourSource,
    Notice,
    Nowcast,
    Source,
    StationSource,
    Summary,
)
from alerts.windows import Kind
from service.rule_sets import fetch_rules
from service.store.among import among
from service.store.recipients import find_readers
from service.store.tables import (
    block,
    notice,
    notice_bounds,
    notice_estimate,
    notice_nowcast,
    notice_recipient,
    notice_summary,
    round_,
    site,
    untold_pause,
)

DOUBTS = ("carried", "estimated", "not_known")
"""What of a notice was not measured: columns of `notice_estimate`, fields of Notice."""

NOWCAST = tuple(Nowcast.__dataclass_fields__)
SUMMARY = tuple(Summary.__dataclass_fields__)


def fetch_told(connection: Connection, first_season: int) -> dict[str, list[Told]]:
    """Return what has been told of each block since a season, oldest first."""
    told: dict[str, list[Told]] = defaultdict(list)
    names = [name for name in Told.__dataclass_fields__ if name in notice.c]
    columns = [notice.c[name] for name in ("block_id", *names)]
    query = (
        select(*columns, notice_nowcast.c.issued_on)
        .outerjoin(notice_nowcast, notice_nowcast.c.notice_id == notice.c.id)
        .where(notice.c.season >= first_season)
        .order_by(notice.c.id)
    )
    for block_id, *fields in connection.execute(query):
        told[block_id].append(Told(*fields))
    return told


def store_notices(connection: Connection, round_id: int, notices: Iterable[Notice]) -> int:
    """Keep the notices and settle who is to be told; return how many there are."""
    count = 0
    for one in notices:
        row = {name: getattr(one, name) for name in notice.c.keys() if hasattr(one, name)}  # noqa: SIM118 (columns, not a dict)
        row["sources"] = [asdict(source) for source in one.sources]
        notice_id = connection.execute(
            insert(notice).values(round_id=round_id, **row).returning(notice.c.id)
        ).scalar_one()
        connection.execute(insert(notice_bounds).values(notice_id=notice_id, **_bounds_row(one)))
        doubts = {name: getattr(one, name) for name in DOUBTS}
        if any(doubts.values()):
            connection.execute(insert(notice_estimate).values(notice_id=notice_id, **doubts))
        if one.nowcast:
            nowcast = vars(one.nowcast)
            connection.execute(insert(notice_nowcast).values(notice_id=notice_id, **nowcast))
        if one.summary:
            summary = {**vars(one.summary), "spans": _write_spans(one.summary)}
            connection.execute(insert(notice_summary).values(notice_id=notice_id, **summary))
        for name in find_readers(connection, [one.block_id]):
            connection.execute(
                insert(notice_recipient).values(notice_id=notice_id, recipient_name=name)
            )
        count += 1
    return count


def _bounds_row(one: Notice) -> dict[str, date | None]:
    opened, closed = one.opened_range, one.closed_range
    return {
        "closed_not_before": one.closed_not_before,
        "opened_earliest": opened and opened.earliest,
        "opened_latest": opened and opened.latest,
        "closed_earliest": closed and closed.earliest,
        "closed_latest": closed and closed.latest,
    }


def keep_untold_pauses(connection: Connection, pauses: Iterable[tuple[str, int, Kind]]) -> None:
    """Keep of which windows, by block and season, a pause is not told yet, and of no others."""
    connection.execute(delete(untold_pause))
    for block_id, season, kind in pauses:
        row = {"block_id": block_id, "season": season, "kind": kind}
        connection.execute(insert(untold_pause).values(row))


class Waiting(NamedTuple):
    """A notice that no digest of a reader holds; whether they were told of its window before."""

    id: int
    notice: Notice
    heard: bool


def fetch_waiting(connection: Connection) -> dict[str, list[Waiting]]:
    """Return, per recipient, the notices that no digest holds yet.

    What would say of a window that it is open waits on while its pause is not told.
    """
    paused = {tuple(row) for row in connection.execute(select(untold_pause))}
    untold = select(notice_recipient.c.notice_id).where(notice_recipient.c.digest_id.is_(None))
    notices = _fetch_notices(connection, notice.c.id.in_(untold))
    earlier, told = notice.alias(), notice_recipient.alias()
    heard = (
        exists()
        .where(told.c.notice_id == earlier.c.id, told.c.digest_id.is_not(None))
        .where(told.c.recipient_name == notice_recipient.c.recipient_name, *_is_same(earlier))
        .correlate(notice, notice_recipient)
    )
    query = (
        select(notice_recipient.c.recipient_name, notice.c.id, heard)
        .join(notice, notice.c.id == notice_recipient.c.notice_id)
        .where(notice_recipient.c.digest_id.is_(None))
        .order_by(notice_recipient.c.recipient_name, notice.c.id)
    )
    waiting: dict[str, list[Waiting]] = defaultdict(list)
    for name, notice_id, is_heard in connection.execute(query):
        waiting[name].append(Waiting(notice_id, notices[notice_id], is_heard))
    return {name: list(_leave_out(paused, of_reader)) for name, of_reader in waiting.items()}


def _is_same(other: FromClause) -> list[ColumnElement[bool]]:
    """Whether another notice is of the same window."""
    return [other.c[name] == notice.c[name] for name in ("block_id", "season", "kind")]


class MadeNotice(NamedTuple):
    """A notice, and when it was made."""

    id: int
    at: datetime
    notice: Notice


def fetch_last_notices(
    connection: Connection, block_ids: Collection[str], most: int, before: int | None = None
) -> list[MadeNotice]:
    """Return the last notices of some blocks, the latest first; before one's number where that is
    given.
    """
    query = (
        select(notice.c.id, round_.c.started_at)
        .join(round_, round_.c.id == notice.c.round_id)
        .where(among(notice.c.block_id, block_ids))
        .order_by(notice.c.id.desc())
        .limit(most)
    )
    if before is not None:
        query = query.where(notice.c.id < before)
    made_at = {row.id: row.started_at for row in connection.execute(query)}
    found = _fetch_notices(connection, among(notice.c.id, made_at))
    return [MadeNotice(number, at, found[number]) for number, at in made_at.items()]


def _fetch_notices(connection: Connection, which: ColumnElement[bool]) -> dict[int, Notice]:
    """Return notices by their id."""
    earlier = notice.alias()
    revision = select(func.count()).where(*_is_same(earlier), earlier.c.id < notice.c.id)
    query = (
        select(
            notice,
            revision.scalar_subquery().label("revision"),
            notice_bounds,
            *(func.coalesce(notice_estimate.c[name], false()).label(name) for name in DOUBTS),
            *(notice_nowcast.c[name].label(f"nowcast_{name}") for name in NOWCAST),
            *(notice_summary.c[name].label(f"summary_{name}") for name in SUMMARY),
            block.c.name.label("block_name"),
            block.c.rule,
            block.c.root_zone_top_cm,
            block.c.root_zone_bottom_cm,
            site.c.name.label("site_name"),
        )
        .outerjoin(notice_bounds, notice_bounds.c.notice_id == notice.c.id)
        .outerjoin(notice_estimate, notice_estimate.c.notice_id == notice.c.id)
        .outerjoin(notice_nowcast, notice_nowcast.c.notice_id == notice.c.id)
        .outerjoin(notice_summary, notice_summary.c.notice_id == notice.c.id)
        .join(block, block.c.id == notice.c.block_id)
        .join(site, site.c.id == block.c.site_id)
        .where(which)
    )
    notices: dict[int, Notice] = {}
    rules = fetch_rules(connection)
    for row in connection.execute(query).mappings():
        fields = {name: row[name] for name in Notice.__dataclass_fields__ if name in row}
        fields["root_zone_cm"] = (row["root_zone_top_cm"], row["root_zone_bottom_cm"])
        fields["basis_cm"] = tuple(row["basis_cm"])
        fields["sources"] = tuple(map(_source, row["sources"]))
        rule = rules[row["rule"]]
        fields["mean_days"], fields["fall_follows"] = rule.mean_days, "fall" in rule.windows
        for what in ("opened", "closed"):
            earliest, latest = row[f"{what}_earliest"], row[f"{what}_latest"]
            fields[f"{what}_range"] = earliest and DateRange(earliest, latest)
        if row["nowcast_issued_on"]:
            fields["nowcast"] = Nowcast(**{name: row[f"nowcast_{name}"] for name in NOWCAST})
        if row["summary_spans"]:
            summary = {name: row[f"summary_{name}"] for name in SUMMARY}
            fields["summary"] = Summary(**{**summary, "spans": _read_spans(summary["spans"])})
        notices[row["id"]] = Notice(**fields)
    return notices


def _leave_out(
    paused: Collection[tuple[Any, ...]], waiting: Sequence[Waiting]
) -> Iterator[Waiting]:
    """Yield the notices of a reader but for those that end in a paused window being open."""
    last = {_window(one.notice): one.notice for one in waiting}
    for one in waiting:
        now = last[_window(one.notice)]
        says_open = now.opened_on is not None and now.closed_on is None
        if not (says_open and _window(one.notice) in paused):
            yield one


def _window(one: Notice) -> tuple[str, int, Kind]:
    return one.block_id, one.season, one.kind


def _write_spans(summary: Summary) -> list[list[str]]:
    return [[kind, first.isoformat(), stop.isoformat()] for kind, first, stop in summary.spans]


def _read_spans(rows: Iterable[Sequence[Any]]) -> tuple[tuple[Kind, date, date], ...]:
    return tuple(
        (kind, date.fromisoformat(first), date.fromisoformat(stop)) for kind, first, stop in rows
    )


def _source(row: Mapping[str, Any]) -> Source:
    if "neighbours" in row:
        return NeighbourSource(tuple(Neighbour(**one) for one in row["neighbours"]), row["error_c"])
    if "names" in row:
        return HandSource(tuple(row["names"]), row["error_c"])
    return StationSource(**row)


def mark_composed(
    connection: Connection, recipient_name: str, notice_ids: Iterable[int], digest_id: int
) -> None:
    """Note that a digest tells these notices to a recipient."""
    connection.execute(
        update(notice_recipient)
        .where(
            notice_recipient.c.recipient_name == recipient_name,
            among(notice_recipient.c.notice_id, notice_ids),
        )
        .values(digest_id=digest_id)
    )
