"""The complete daily means of probes as rows of days; what is over for long is read from packs.

A pack holds what `daily_mean` says of a probe and 128 days, up to some day: from there on the rows
count. Whoever writes a day shortens the pack that holds it, in the same transaction, and a pack is
made under the lock on its logger: so it never says anything else than the rows, and is read in a
fraction of their time.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Select, bindparam, func, select, update
from sqlalchemy.dialects import postgresql, sqlite

from service.store.among import among
from service.store.bulk import execute_many, fetch_columns
from service.store.tables import daily_mean, daily_pack, probe

DAYS = 128
"""Of a pack, counted from 1970: those of all probes begin on the same days."""

_MEAN = np.dtype("<f8")

Days = NDArray[np.datetime64]


@dataclass(frozen=True)
class CompleteDays:
    """The complete days of some probes.

    day : (n_days,) datetime64[D], consecutive, from the first that one of them has, or none at all
    mean_c : (n_probes, n_days) float64, NaN where a probe has none [degC]
    """

    day: Days
    mean_c: NDArray[np.float64]


@dataclass(frozen=True)
class _Packs:
    """Packs by the row of their probe and their part; days from `held` on are NaN."""

    row: NDArray[np.int64]
    part: NDArray[np.int64]
    held: NDArray[np.int64]
    mean_c: NDArray[np.float64]


def fetch_complete_days(
    connection: Connection, probe_ids: Sequence[int], start: date, end: date
) -> CompleteDays:
    """Return the complete days of probes, which ascend, from one day to another, both included."""
    ids = np.array(probe_ids, np.int64)
    begin, until = _number(start), _number(end) + 1
    packs = _fetch_packs(connection, ids, begin, until)
    loose = [
        fetch_columns(connection, _query_rows(some.tolist(), *span))
        for some, span in _find_loose(ids, packs, begin, until)
    ]
    begins = [packs.part * DAYS, *(rows["day"].astype(np.int64) for rows in loose)]
    first_part = min((int(of.min()) for of in begins if of.size), default=until) // DAYS
    base, parts = first_part * DAYS, -(-until // DAYS) - first_part
    by_part_c = np.full((ids.size, parts, DAYS), np.nan)
    by_part_c[packs.row, packs.part - first_part] = packs.mean_c
    mean_c = by_part_c.reshape(ids.size, parts * DAYS)
    for rows in loose:
        row = np.searchsorted(ids, rows["probe_id"])
        mean_c[row, rows["day"].astype(np.int64) - base] = rows["mean_c"]
    mean_c = mean_c[:, max(0, begin - base) : until - base]
    days = np.arange(max(begin, base), until)
    lead = np.flatnonzero(~np.isnan(mean_c).all(axis=0))[:1]
    from_first = slice(lead[0] if lead.size else days.size, None)
    return CompleteDays(days[from_first].astype("M8[D]"), mean_c[:, from_first])


def shorten_packs(connection: Connection, probe_id: int, days: Days) -> None:
    """Let the rows count from the first of these days on, in each part that holds one."""
    numbers = np.unique(days.astype(np.int64))
    parts, first = np.unique(numbers // DAYS, return_index=True)
    held = numbers[first] - parts * DAYS
    of_part = daily_pack.c.probe_id == probe_id, daily_pack.c.part == bindparam("of_part")
    longer = daily_pack.c.held > bindparam("before")
    statement = update(daily_pack).where(*of_part, longer).values(held=bindparam("before"))
    rows = zip(parts.tolist(), held.tolist(), strict=True)
    execute_many(connection, statement, ({"of_part": p, "before": n} for p, n in rows))


def find_unpacked(connection: Connection, before: date) -> dict[str, dict[int, list[int]]]:
    """Return, by logger and probe, the parts that are not packed up to a day."""
    until = _number(before)
    ends = (func.min(daily_mean.c.day), func.max(daily_mean.c.day))
    first, last = (
        select(end)
        .where(daily_mean.c.probe_id == probe.c.id, daily_mean.c.day < before)
        .scalar_subquery()
        for end in ends
    )
    held: dict[int, dict[int, int]] = defaultdict(dict)
    for probe_id, part, days in connection.execute(
        select(daily_pack.c.probe_id, daily_pack.c.part, daily_pack.c.held)
    ):
        held[probe_id][part] = days
    found: dict[str, dict[int, list[int]]] = defaultdict(dict)
    for logger_id, probe_id, first_day, last_day in connection.execute(
        select(probe.c.logger_id, probe.c.id, first, last).order_by(probe.c.logger_id, probe.c.id)
    ):
        if first_day is None:
            continue
        parts = range(_number(first_day) // DAYS, _number(last_day) // DAYS + 1)
        of_probe = held[probe_id]
        missing = [one for one in parts if of_probe.get(one, -1) < min(DAYS, until - one * DAYS)]
        if missing:
            found[logger_id][probe_id] = missing
    return found


def pack_days(connection: Connection, parts: Mapping[int, Sequence[int]], before: date) -> None:
    """Pack parts, by probe, up to a day. The caller holds the lock on the logger of the probes."""
    first, end = min(map(min, parts.values())), max(map(max, parts.values())) + 1
    begin, until = first * DAYS, min(_number(before), end * DAYS)
    ids = sorted(parts)
    rows = fetch_columns(connection, _query_rows(ids, begin, until))
    mean_c = np.full((len(ids), (end - first) * DAYS), np.nan, _MEAN)
    row = np.searchsorted(ids, rows["probe_id"])
    mean_c[row, rows["day"].astype(np.int64) - begin] = rows["mean_c"]
    insert = sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    statement = insert(daily_pack)
    new = {name: statement.excluded[name] for name in ("held", "body")}
    packs = (
        {
            "probe_id": probe_id,
            "part": part,
            "held": min(DAYS, until - part * DAYS),
            "body": of_probe_c[part * DAYS - begin :][:DAYS].tobytes(),
        }
        for probe_id, of_probe_c in zip(ids, mean_c, strict=True)
        for part in parts[probe_id]
    )
    upsert = statement.on_conflict_do_update(index_elements=["probe_id", "part"], set_=new)
    execute_many(connection, upsert, packs)


def _fetch_packs(connection: Connection, ids: NDArray[np.int64], begin: int, until: int) -> _Packs:
    query = select(daily_pack.c.probe_id, daily_pack.c.part, daily_pack.c.held, daily_pack.c.body)
    among_them = among(daily_pack.c.probe_id, ids.tolist())
    within = daily_pack.c.part.between(begin // DAYS, (until - 1) // DAYS)
    rows: Any = connection.execute(query.where(among_them, within)).all()
    probe_id, part, held, bodies = zip(*rows, strict=True) if rows else ((), (), (), ())
    mean_c = np.frombuffer(b"".join(bodies), _MEAN).reshape(-1, DAYS).copy()
    mean_c[np.arange(DAYS) >= np.array(held, np.int64)[:, np.newaxis]] = np.nan
    row = np.searchsorted(ids, np.array(probe_id, np.int64))
    return _Packs(row, np.array(part, np.int64), np.array(held, np.int64), mean_c)


def _find_loose(
    ids: NDArray[np.int64], packs: _Packs, begin: int, until: int
) -> Iterator[tuple[NDArray[np.int64], tuple[int, int]]]:
    """Yield spans of days that packs do not hold, each with the probes of which they are read."""
    if not packs.part.size:
        yield ids, (begin, until)
        return
    first, end = int(packs.part.min()), int(packs.part.max()) + 1
    held = np.zeros((ids.size, end - first), np.int16)
    held[packs.row, packs.part - first] = packs.held
    patterns, which = np.unique(held, axis=0, return_inverse=True)
    for number, pattern in enumerate(patterns.tolist()):
        of_pattern = ids[which.ravel() == number]
        at = begin
        for part, days in zip(range(first, end), pattern, strict=True):
            if not days:
                continue
            if at < part * DAYS:
                yield of_pattern, (at, part * DAYS)
            at = max(at, part * DAYS + days)
        if at < until:
            yield of_pattern, (at, until)


def _query_rows(probe_ids: Sequence[int], begin: int, until: int) -> Select[*tuple[Any, ...]]:
    first, last = (_day(number) for number in (begin, until - 1))
    return (
        select(daily_mean.c.probe_id, daily_mean.c.day, daily_mean.c.mean_c)
        .where(among(daily_mean.c.probe_id, probe_ids), daily_mean.c.day.between(first, last))
        .where(daily_mean.c.complete)
    )


def _number(day: date) -> int:
    return int(np.datetime64(day, "D").astype(np.int64))


def _day(number: int) -> date:
    return np.datetime64(number, "D").item()
