"""One round at a time: several real processes, some of which die or stop in the middle."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import time
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection, Engine, event, func, select, update
from sqlalchemy.exc import OperationalError

from service.one_round import holding_round
from service.rounds import run_due
from service.settings import Settings
from service.store import tables
from service.store.engine import reading, writing
from service.store.round_lease import (
    RoundHeldError,
    RoundLostError,
    fetch_lease,
    renew_lease,
    take_lease,
)
from tests.commands import run
from tests.planted import plant_opening
from tests.processes import start, wait_until

READERS = ("Ada", "Ben")
ROUND = ("round", "--as-of", "2025-05-05")
SLOWLY = {"DIGSEASON_MAIL_CHARTS": "1"}  # drawn between what is found and what is composed


@pytest.fixture
def warmed(engine: Engine) -> Engine:
    """A block that has opened, and two readers who do not know yet."""
    plant_opening(engine, READERS)
    return engine


def count(engine: Engine, table: str) -> int:
    with reading(engine) as connection:
        rows = select(func.count()).select_from(tables.metadata.tables[table])
        return connection.execute(rows).scalar_one()


def lapses_at(engine: Engine) -> datetime:
    with reading(engine) as connection:
        lease = fetch_lease(connection)
    assert lease is not None
    return lease.lapses_at


def let_lapse(engine: Engine) -> None:
    """Let half a minute go by without a renewal."""
    lease = tables.round_lease
    with writing(engine) as connection:
        connection.execute(update(lease).values(lapses_at=lease.c.since))


def start_and_stop_in_the_middle(
    engine: Engine, store_url: str, data: Path
) -> subprocess.Popen[str]:
    """Return a round that has kept its notice, has not composed it, and does not go on."""
    process = start(data, *ROUND, database_url=store_url, env=SLOWLY)
    wait_until(lambda: count(engine, "notice") == 1)
    process.send_signal(signal.SIGSTOP)
    assert count(engine, "digest") == 0
    return process


def test_rounds_that_start_at_once_tell_everyone_once(
    warmed: Engine, store_url: str, tmp_path: Path
) -> None:
    processes = [start(tmp_path, *ROUND, database_url=store_url) for _ in range(3)]
    outputs = [process.communicate(timeout=120)[0] for process in processes]
    refused = [out for out in outputs if "has been running a round since" in out]
    assert sorted(process.returncode for process in processes) == sorted(
        [0] * (3 - len(refused)) + [1] * len(refused)
    ), outputs
    assert (count(warmed, "notice"), count(warmed, "digest")) == (1, len(READERS))
    assert len(list((tmp_path / "outbox").glob("*.eml"))) == len(READERS)


def test_a_round_that_is_killed_is_taken_over_once_its_lease_has_lapsed(
    warmed: Engine, store_url: str, tmp_path: Path
) -> None:
    process = start_and_stop_in_the_middle(warmed, store_url, tmp_path)
    process.kill()
    process.communicate()

    refused, why = run(tmp_path, *ROUND, database_url=store_url)
    let_lapse(warmed)
    again, told = run(tmp_path, *ROUND, database_url=store_url)

    assert (refused, again) == (1, 0)
    one_line = " ".join(why.split())
    assert f"process {process.pid} on {socket.gethostname()} has been running a round" in one_line
    assert re.search(r"since 20\d\d-\d\d-\d\d \d\d:\d\d:\d\d UTC", one_line)
    assert re.search(r"has died, its hold lapses at \d\d:\d\d:\d\d UTC", one_line)
    assert max(map(len, why.splitlines())) <= 80
    assert "2 digests composed, 2 messages delivered" in told
    assert (count(warmed, "notice"), count(warmed, "digest")) == (1, len(READERS))


@pytest.mark.sqlite_by_day
def test_a_round_that_was_taken_for_dead_keeps_nothing_when_it_wakes_up(
    warmed: Engine, store_url: str, tmp_path: Path
) -> None:
    process = start_and_stop_in_the_middle(warmed, store_url, tmp_path)
    begun = time.monotonic()
    let_lapse(warmed)
    waited_s = time.monotonic() - begun
    other = run(tmp_path, *ROUND, database_url=store_url)
    process.send_signal(signal.SIGCONT)
    output, _ = process.communicate(timeout=60)
    assert (other[0], process.returncode) == (0, 1)
    assert waited_s < 1  # a round that draws lets others write
    assert "another has taken over" in " ".join(output.split())
    assert (count(warmed, "notice"), count(warmed, "digest")) == (1, len(READERS))


def test_a_lease_is_renewed_while_it_is_held_and_given_back(engine: Engine) -> None:
    with holding_round(engine, renewed_every_s=0.02):
        first = lapses_at(engine)
        wait_until(lambda: lapses_at(engine) > first)
    with reading(engine) as connection:
        assert fetch_lease(connection) is None


def test_a_lease_names_its_holder_to_others(engine: Engine, tmp_path: Path) -> None:
    with holding_round(engine) as lease:
        with pytest.raises(RoundHeldError) as refused:
            run_due(engine, Settings(data=tmp_path), lease.since)
        assert refused.value.lease == lease
        assert (lease.host, lease.process) == (socket.gethostname(), os.getpid())


def test_who_has_lost_the_lease_writes_nothing_under_it(engine: Engine) -> None:
    with holding_round(engine) as lost:
        let_lapse(engine)
        with writing(engine) as connection:
            taken = take_lease(connection)
        with pytest.raises(RoundLostError), writing(engine) as connection:
            renew_lease(connection, lost)
    with reading(engine) as connection:
        assert fetch_lease(connection) == taken  # and whoever lost it does not give it back


def test_a_round_that_fails_gives_its_lease_back(engine: Engine) -> None:
    with pytest.raises(ZeroDivisionError), holding_round(engine):
        raise ZeroDivisionError
    with reading(engine) as connection:
        assert fetch_lease(connection) is None


def test_a_lease_is_given_back_as_soon_as_the_store_is_back(engine: Engine) -> None:
    failed: list[str] = []

    def fail_twice(_: Connection, _cursor: Any, statement: str, *_more: Any) -> None:
        if "DELETE FROM round_lease" in statement and len(failed) < 2:
            failed.append(statement)
            raise OperationalError(statement, {}, OSError("away"))

    event.listen(engine, "before_cursor_execute", fail_twice)
    with holding_round(engine):
        pass
    with reading(engine) as connection:
        assert fetch_lease(connection) is None
    assert len(failed) == 2
