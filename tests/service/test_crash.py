"""A round that is killed between writing its notices and sending them."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine, func, select, text, update

from service.delivery import deliver
from service.settings import Settings
from service.store import tables
from service.store.engine import reading, writing
from tests.commands import run
from tests.outbox_messages import let_leases_lapse
from tests.planted import plant_opening
from tests.processes import start, wait_until

READERS = ("Ada", "Ben", "Cai", "Dee")
ROUND = ("round", "--as-of", "2025-05-05")


@pytest.fixture
def outbox(tmp_path: Path) -> Path:
    folder = tmp_path / "outbox"
    folder.mkdir()
    return folder


@pytest.fixture
def warmed(engine: Engine) -> Engine:
    """A block that has opened, and four readers who do not know yet."""
    plant_opening(engine, READERS)
    return engine


def in_flight(engine: Engine) -> list[int]:
    """Return the messages that are claimed and not marked as delivered."""
    claimed = tables.outbox.c.leased_until.is_not(None)
    with reading(engine) as connection:
        return list(connection.scalars(select(tables.outbox.c.id).where(claimed)))


@pytest.mark.parametrize(
    "sent_before", [0, *(pytest.param(n, marks=pytest.mark.long) for n in (1, 2)), 3]
)
def test_a_killed_round_loses_no_notice_and_doubles_none(
    warmed: Engine, outbox: Path, store_url: str, tmp_path: Path, sent_before: int
) -> None:
    # opening a pipe for writing waits for a reader: there the process is held, the message of one
    # reader claimed and not sent
    stop_at = outbox / f"{sent_before + 1:06d}-{READERS[sent_before].lower()}.part"
    os.mkfifo(stop_at)
    process = start(tmp_path, *ROUND, database_url=store_url)
    wait_until(lambda: in_flight(warmed) == [sent_before + 1])
    process.kill()
    process.communicate()
    stop_at.unlink()

    again = run(tmp_path, *ROUND, database_url=store_url)
    at_once = {path.name: path.read_bytes() for path in outbox.glob("*.eml")}
    let_leases_lapse(warmed)
    deliver(warmed, Settings(data=tmp_path), datetime.now(UTC))
    in_the_end = {path.name: path.read_bytes() for path in outbox.glob("*.eml")}

    assert again[0] == 0
    assert "nothing new to tell" in again[1]
    assert len(at_once) == len(READERS) - 1  # the one in flight waits until its lease lapses
    assert sorted(in_the_end) == [f"{i + 1:06d}-{n.lower()}.eml" for i, n in enumerate(READERS)]
    assert at_once.items() <= in_the_end.items()


@pytest.mark.parametrize("store_url", ["postgresql"], indirect=True)  # which locks one table
def test_a_round_killed_before_it_composes_leaves_its_notices_to_the_next(
    warmed: Engine, outbox: Path, store_url: str, tmp_path: Path
) -> None:
    with warmed.begin() as holder:
        holder.execute(text("lock table outbox in exclusive mode"))
        waits = text(
            "select count(*) from pg_locks where not granted and relation = 'outbox'::regclass"
        )
        process = start(tmp_path, *ROUND, database_url=store_url)
        wait_until(lambda: bool(holder.scalar(waits)))
        process.kill()
        process.communicate()
    with reading(warmed) as connection:
        assert connection.scalar(select(func.count()).select_from(tables.notice)) == 1
        assert connection.scalar(select(func.count()).select_from(tables.outbox)) == 0
    with writing(warmed) as connection:  # as if half a minute were over
        connection.execute(update(tables.round_lease).values(lapses_at=datetime.now(UTC)))
    again = run(tmp_path, *ROUND, database_url=store_url)
    assert again[0] == 0
    assert len(list(outbox.glob("*.eml"))) == len(READERS)
    with reading(warmed) as connection:
        assert connection.scalar(select(func.count()).select_from(tables.notice)) == 1


def test_a_message_written_but_not_marked_is_written_again_to_the_same_file(
    warmed: Engine, outbox: Path, tmp_path: Path, store_url: str
) -> None:
    run(tmp_path, *ROUND, database_url=store_url)
    before = {path.name: path.read_bytes() for path in outbox.iterdir()}
    with writing(warmed) as connection:
        lapsed = datetime.now(UTC) - timedelta(seconds=1)
        connection.execute(tables.outbox.update().values(delivered_at=None, leased_until=lapsed))
    written = deliver(warmed, Settings(data=tmp_path), datetime.now(UTC)).files
    assert len(written) == len(READERS)
    assert {path.name: path.read_bytes() for path in outbox.iterdir()} == before
