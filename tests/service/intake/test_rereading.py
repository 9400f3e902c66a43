"""Kept files read again, after a layout or a clock was mended."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import Engine

from service.intake.rereading import Reread, reread
from service.intake.retelling import Retold
from service.store.engine import writing
from service.store.imports import UnknownImportError
from tests.deliveries import HOURS, Delivered, all_kept, at, declare, deliver
from tests.imported import (
    LOGGER,
    forget,
    import_log,
    kept,
    row,
    set_up,
    write_lines,
    write_log,
)


@pytest.fixture
def farm(engine: Engine) -> Engine:
    """A store with the one logger."""
    set_up(engine)
    return engine


def again(engine: Engine, *only: int, keep_layout: bool = False) -> tuple[list[Reread], Retold]:
    with writing(engine) as connection:
        return reread(connection, LOGGER, only, keep_layout)


def test_a_mended_layout_reads_what_was_rejected(farm: Engine, tmp_path: Path) -> None:
    lines = [row(1, (14.0, 15.0)), "2025-10-01 02:00,n/a,15.0"]
    import_log(farm, write_lines(tmp_path / "log.csv", lines))
    set_up(farm, layout={"missing": ["", "n/a"], "unit": "F"})
    ((one,), retold) = again(farm)
    assert (one.before.rejected, one.after.rejected, one.after.missing) == (1, 0, 1)
    assert retold == Retold(changed=3)
    # by hand: (14 - 32) / 1.8 = -10, (15 - 32) / 1.8 = -9.444
    assert [value_c for *_, value_c, _ in kept(farm)["reading"]] == pytest.approx(
        [-10.0, -9.4444, -9.4444], abs=1e-4
    )


def test_read_again_by_a_layout_equals_having_been_read_by_it(farm: Engine, tmp_path: Path) -> None:
    path = write_log(tmp_path / "log.csv", {1: (14.0, 50.0), 30: (14.0, None)})
    import_log(farm, path)
    set_up(farm, layout={"clock": "UTC+09:00", "stamp": "start"})
    again(farm)
    reread_, _ = all_kept(farm), forget(farm)
    import_log(farm, path)
    assert all_kept(farm) == reread_


@pytest.mark.parametrize("source", ["file", "push", "hand"])
def test_a_clock_corrected_later_equals_one_that_was_corrected_in_time(
    farm: Engine, tmp_path: Path, source: str
) -> None:
    # the last two hours arrive before they are observed, by the clock as it stands
    rows = [(hour, 10.0 + hour, None) for hour in (1, 2, HOURS // 2 + 1, HOURS // 2 + 2)]
    corrections = ((0, HOURS, -7200),)
    deliver(farm, tmp_path, 1, Delivered(source, rows, HOURS // 2, ()))
    before = all_kept(farm)
    declare(farm, corrections)
    ((one,), _) = again(farm)
    corrected, _ = all_kept(farm), forget(farm)
    deliver(farm, tmp_path, 1, Delivered(source, rows, HOURS // 2, corrections))
    assert corrected == all_kept(farm) != before
    assert (one.before.rejected, one.after.rejected) == (2, 0)


def test_a_file_that_the_layout_of_now_refuses_stays_as_it_was_read(
    farm: Engine, tmp_path: Path
) -> None:
    import_log(farm, write_log(tmp_path / "log.csv", {1: (14.0, 15.0)}))
    before = all_kept(farm)
    set_up(farm, layout={"time": "when"})
    ((one,), retold) = again(farm)
    assert (one.refused is not None and "when" in one.refused, retold) == (True, Retold())
    assert all_kept(farm) == before


def test_with_its_old_layout_only_the_clock_of_a_file_is_corrected(
    farm: Engine, tmp_path: Path
) -> None:
    import_log(farm, write_log(tmp_path / "log.csv", {1: (14.0, None)}))
    set_up(farm, layout={"unit": "F"})
    declare(farm, [(0, 9, 3600)])
    again(farm, keep_layout=True)
    ((_, instant, value_c, _),) = kept(farm)["reading"]
    assert (instant, value_c) == (at(2), 14.0)


def test_only_the_imports_that_are_named_are_read_again(farm: Engine, tmp_path: Path) -> None:
    import_log(farm, write_log(tmp_path / "one.csv", {1: (14.0, None)}))
    import_log(farm, write_log(tmp_path / "two.csv", {5: (14.0, None)}))
    set_up(farm, layout={"unit": "F"})
    assert [one.before.id for one in again(farm, 2)[0]] == [2]
    assert [value_c for *_, value_c, _ in kept(farm)["reading"]] == [14.0, -10.0]
    with pytest.raises(UnknownImportError, match="no import 7 of u1 stands"):
        again(farm, 2, 7)
