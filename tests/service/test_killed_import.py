"""An import in a process of its own that is killed in the middle."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from sqlalchemy import Engine, exc, func, select, update

from service.store import tables
from service.store.engine import open_engine, reading
from tests.imported import LOGGER, Values, counts, import_log, set_up, write_log
from tests.processes import start

HOURS = 120_000  # to write them takes about a second
QUICKLY = {"sqlite": "pragma busy_timeout = 0", "postgresql": "set lock_timeout = '10ms'"}


@pytest.fixture
def farm(engine: Engine) -> Engine:
    """A store with the one logger."""
    set_up(engine)
    return engine


def some_values(first: int, last: int) -> Values:
    return {hour - HOURS: (hour % 300 / 10, 15.0) for hour in range(first, last)}


def is_written_to(url: str) -> bool:
    """Return whether someone else is within a write transaction."""
    engine = open_engine(url)
    touch = update(tables.logger).values(id=tables.logger.c.id)
    try:
        with engine.connect() as connection:
            connection.exec_driver_sql(QUICKLY[engine.dialect.name])
            connection.execute(touch)  # and not committed
    except exc.OperationalError:
        return True
    else:
        return False
    finally:
        engine.dispose()


def count_rows(engine: Engine) -> list[int]:
    names = ("reading", "daily_mean", "import_batch")
    with reading(engine) as connection:
        return [
            connection.execute(
                select(func.count()).select_from(tables.metadata.tables[name])
            ).scalar_one()
            for name in names
        ]


def test_an_import_killed_in_the_middle_leaves_nothing_and_can_be_repeated(
    farm: Engine, store_url: str, tmp_path: Path
) -> None:
    path = write_log(tmp_path / "log.csv", some_values(0, HOURS))
    process = start(tmp_path, "import", "--logger", LOGGER, str(path), database_url=store_url)
    while process.poll() is None and not is_written_to(store_url):
        time.sleep(0.01)
    time.sleep(0.2)
    process.kill()
    output, _ = process.communicate()
    assert (process.returncode, output) == (-9, "")
    assert count_rows(farm) == [0, 0, 0]
    assert counts(import_log(farm, path)) == (2 * HOURS, 0, 0, 0, 0)
