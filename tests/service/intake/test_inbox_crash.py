"""A process that is killed while it empties the inbox: the next one finishes its work."""

from __future__ import annotations

import os
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path

import pytest
from sqlalchemy import Engine, select

from service.store import tables
from service.store.engine import reading, writing
from service.store.loggers import fetch_logger
from tests.commands import run
from tests.imported import kept, set_up, write_log
from tests.processes import start

pytestmark = pytest.mark.sqlite_by_day

VALUES = {hour: (10.0 + hour, 12.0) for hour in range(1, 5)}

Hold = Callable[[Engine], AbstractContextManager[Callable[[subprocess.Popen[str]], bool]]]


def has_opened_the_inbox(process: subprocess.Popen[str]) -> bool:
    fds = Path(f"/proc/{process.pid}/fd")
    with suppress(FileNotFoundError):  # closed while we look
        return any(os.readlink(fd).endswith("/inbox/.lock") for fd in fds.iterdir())
    return False


@contextmanager
def before_the_import(engine: Engine) -> Iterator[Callable[..., bool]]:
    """Hold a process at the store, which is locked; it has opened the inbox by then."""
    with writing(engine) as connection:
        fetch_logger(connection, "u1", lock=True)
        yield has_opened_the_inbox


STANDS_BEFORE_THE_MOVE = """
import time
from service.intake import inbox
inbox._take = lambda _: time.sleep(600)
"""


@contextmanager
def before_the_move(engine: Engine) -> Iterator[Callable[..., bool]]:
    """Wait until the import has committed; the process stands still then."""
    yield lambda _: bool(batches(engine))


def batches(engine: Engine) -> list[int]:
    with reading(engine) as connection:
        return list(connection.scalars(select(tables.import_batch.c.inserted)))


@pytest.mark.parametrize(
    ("hold", "before", "imported"),
    [(before_the_import, "", []), (before_the_move, STANDS_BEFORE_THE_MOVE, [8])],
)
def test_a_pass_that_was_killed_is_finished_by_the_next(
    engine: Engine,
    store_url: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    hold: Hold,
    before: str,
    imported: list[int],
) -> None:
    monkeypatch.setenv("DIGSEASON_INBOX_SETTLED_S", "0")
    set_up(engine)
    folder = tmp_path / "inbox" / "u1"
    folder.mkdir(parents=True)
    write_log(folder / "october.csv", VALUES)
    with hold(engine) as has_come:
        process = start(tmp_path, "inbox", database_url=store_url, before=before)
        end = time.monotonic() + 60
        while not has_come(process):
            assert process.poll() is None, process.communicate()
            assert time.monotonic() < end, "it did not come that far"
            time.sleep(0.02)
        process.kill()
        process.communicate()
    assert batches(engine) == imported
    [left] = folder.rglob("october.csv")
    assert left.parent.name != "done"

    code, output = run(tmp_path, "inbox", database_url=store_url)
    assert code == 0, output
    assert batches(engine) == [8]
    assert len(kept(engine)["reading"]) == 8
    assert sorted(path.relative_to(folder).as_posix() for path in folder.rglob("october*")) == [
        ".moved/october.csv.done",
        "done/october.csv",
        "done/october.csv.report.txt",
    ]
