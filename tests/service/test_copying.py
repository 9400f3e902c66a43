"""One store copied into another: all of it, taken up where it broke off, and compared."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine, delete, func, select, update

from service.store import tables
from service.store.copying import copy_store, is_set_up
from service.store.engine import open_engine, reading, writing
from service.store.schema import upgrade
from tests.imported import import_log, set_up, write_log
from tests.stores import rows_of


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Engine]:
    """A SQLite store with a farm, readings with a gap and a conflict, and their days."""
    opened = open_engine(f"sqlite:///{tmp_path / 'other.db'}")
    upgrade(opened)
    set_up(opened)
    hours = range(-2000, 900)
    import_log(opened, write_log(tmp_path / "a.csv", {h: (h % 24 / 2, -0.0) for h in hours}))
    import_log(opened, write_log(tmp_path / "b.csv", {5: (1.0, None), 1000: (None, 20.0)}))
    yield opened
    opened.dispose()


def copy(source: Engine, target: Engine) -> int:
    """Copy a store; return how much differs afterwards."""
    with reading(source) as connection:
        return sum(one.differing for one in copy_store(connection, target))


def test_a_copy_holds_every_row_of_every_table(other: Engine, engine: Engine) -> None:
    assert copy(other, engine) == 0
    assert rows_of(engine) == rows_of(other)


def test_a_day_without_a_mean_has_none_in_the_copy_too(other: Engine, engine: Engine) -> None:
    without = update(tables.daily_mean).where(func.abs(tables.daily_mean.c.mean_c) < 100)
    with writing(other) as connection:
        connection.execute(without.values(mean_c=None))
    copy(other, engine)
    nothing = select(func.count()).where(tables.daily_mean.c.mean_c.is_(None))
    with reading(engine) as connection:
        assert connection.scalar(nothing) == len(rows_of(other)["daily_mean"]) > 100


def test_a_copy_and_back_is_the_same(other: Engine, engine: Engine, tmp_path: Path) -> None:
    back = open_engine(f"sqlite:///{tmp_path / 'back.db'}")
    upgrade(back)
    assert copy(other, engine) + copy(engine, back) == 0
    assert rows_of(back) == rows_of(other)
    back.dispose()


def test_what_changed_meanwhile_is_caught_up_with(
    other: Engine, engine: Engine, tmp_path: Path
) -> None:
    copy(other, engine)
    import_log(other, write_log(tmp_path / "c.csv", dict.fromkeys(range(1001, 1100), (9.5, 9.5))))
    gone = tables.reading.c.soil_temp_c == 11.5
    with writing(other) as connection:
        connection.execute(delete(tables.reading).where(gone))
        connection.execute(delete(tables.recipient))
        connection.execute(update(tables.site).values(name="Over the Hill"))
    assert copy(other, engine) == 0
    assert rows_of(engine) == rows_of(other)


def test_a_broken_off_copy_is_not_taken_for_a_store(other: Engine, engine: Engine) -> None:
    def break_off(share: float) -> None:
        if share > 0.2:
            raise ConnectionError

    with reading(other) as connection, pytest.raises(ConnectionError):
        copy_store(connection, engine, break_off)
    with reading(engine) as connection:
        assert not is_set_up(connection)
        assert connection.scalar(select(func.count()).select_from(tables.reading))
    assert copy(other, engine) == 0
    assert rows_of(engine) == rows_of(other)


def test_a_copy_takes_new_imports(other: Engine, engine: Engine, tmp_path: Path) -> None:
    copy(other, engine)
    report = import_log(engine, write_log(tmp_path / "c.csv", {1200: (1.0, 2.0)}))
    assert report.inserted == 2
