"""Deliveries of every kind into the store of the one logger, and all that it keeps of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from hypothesis import strategies as st
from sqlalchemy import Engine, delete, insert, select

from service.intake.files import import_file
from service.intake.given import Given, gather
from service.intake.ingest import Source, ingest
from service.intake.pushes import keep_push
from service.store import tables
from service.store.engine import reading, writing
from service.store.loggers import fetch_logger
from tests.imported import LOGGER, START, row, write_lines

BEGIN = (START - timedelta(hours=10)).replace(tzinfo=UTC)
HOURS = 60
KEPT = ("reading", "conflict", "settlement", "shifted_stamp", "daily_mean", "import_content")

Correction = tuple[int, int, int]
"""From which hour after START on, until which, and what is added [s]."""


@dataclass(frozen=True)
class Delivered:
    """Rows in order, and how and when they come.

    rows : hours after START, and what T15 and T30 say
    now_h : the hour at which it arrives
    corrections : of the logger's clock then
    """

    source: str
    rows: Sequence[tuple[int, float | None, float | None]]
    now_h: int
    corrections: Sequence[Correction]


CELL = st.sampled_from([None, 10.0, 11.0, 12.5, 50.0])
DELIVERED = st.builds(
    Delivered,
    source=st.sampled_from(["file", "push", "feed", "hand"]),
    rows=st.lists(st.tuples(st.integers(0, HOURS), CELL, CELL), max_size=12),
    now_h=st.sampled_from([HOURS // 2, 10 * HOURS]),
    corrections=st.sampled_from([(), ((5, 25, 3600),), ((0, 10, -7200), (30, 60, 86_400))]),
)


def deliver(engine: Engine, folder: Path, number: int, what: Delivered) -> None:
    """Put a delivery into the store, by the way that its kind takes."""
    now = BEGIN + timedelta(hours=what.now_h)
    declare(engine, what.corrections)
    if what.source == "file":
        path = folder / f"{number}.csv"
        write_lines(path, [f"{row(hour, cells)}" for hour, *cells in what.rows])
        import_file(engine, LOGGER, path, now)
        return
    given = [
        Given(place, f"{BEGIN + timedelta(hours=hour):%Y-%m-%dT%H:%M:%SZ}", None, channel, cell, "")
        for place, (hour, channel, cell) in enumerate(
            (
                (hour, channel, cell)
                for hour, *cells in what.rows
                for channel, cell in zip(("T15", "T30"), cells, strict=True)
            ),
            start=1,
        )
    ]
    with writing(engine) as connection:
        body = f"{number}".encode()
        if what.source == "push":
            keep_push(connection, LOGGER, body, (given, []), now)
        else:
            logger = fetch_logger(connection, LOGGER, lock=True)
            source = Source("feed" if what.source == "feed" else "hand", "x", body.hex())
            ingest(connection, logger, source, gather(logger, given), now)


def declare(engine: Engine, corrections: Sequence[Correction]) -> None:
    """Declare the corrections of the logger's clock."""
    with writing(engine) as connection:
        connection.execute(delete(tables.clock_correction))
        for first_h, end_h, add_s in corrections:
            row_ = {
                "logger_id": LOGGER,
                "stamped_from": BEGIN + timedelta(hours=first_h),
                "stamped_until": BEGIN + timedelta(hours=end_h),
                "add_s": add_s,
            }
            connection.execute(insert(tables.clock_correction).values(row_))


def all_kept(engine: Engine) -> dict[str, list[Any]]:
    """Return all that a store keeps of the imports that stand, these numbered from 1 on.

    Left out: what is said of the imports that are withdrawn.
    """
    with reading(engine) as connection:
        batch = tables.import_batch
        standing = connection.execute(
            select(batch).where(batch.c.withdrawn_at.is_(None)).order_by(batch.c.id)
        ).mappings()
        batches = [dict(one) for one in standing]
        number_of = {one.pop("id"): number for number, one in enumerate(batches, start=1)}
        kept: dict[str, list[Any]] = {
            "import_batch": [
                {name: value for name, value in one.items() if name != "file"} for one in batches
            ]
        }
        for name in (*KEPT, "import_reject"):
            table = tables.metadata.tables[name]
            columns = [
                column for column in table.columns if (name, column.name) != ("import_reject", "id")
            ]
            rows = [dict(one) for one in connection.execute(select(*columns)).mappings()]
            if "import_id" in table.c:
                rows = [
                    {**one, "import_id": number_of[one["import_id"]]}
                    for one in rows
                    if name not in ("import_content", "import_reject")
                    or one["import_id"] in number_of
                ]
            kept[name] = sorted(rows, key=lambda one: repr(sorted(one.items())))
        return kept


def at(hour: int) -> datetime:
    """Return the instant of an hour after START."""
    return BEGIN + timedelta(hours=hour)
