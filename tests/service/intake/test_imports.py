"""Importing: each reading once, all of a file or nothing, daily means that follow."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from sqlalchemy import Engine, func, select

from probes.logger_files import FileRefused
from service.daily_means import refresh_daily_means
from service.intake.reports import FileConflict, FileReject
from service.store import tables
from service.store.engine import reading, writing
from service.store.loggers import UnknownLoggerError, fetch_logger
from tests.imported import (
    LOGGER,
    NOW,
    Values,
    counts,
    forget,
    import_log,
    kept,
    row,
    set_up,
    write_lines,
    write_log,
)
from tests.laws import law

CELL = st.none() | st.integers(-250, 500).map(lambda tenths: tenths / 10)
VALUES = st.dictionaries(st.integers(0, 24 * 5), st.tuples(CELL, CELL), min_size=1)

# the store is emptied by hand between examples
LAW = law(12, HealthCheck.function_scoped_fixture)


@pytest.fixture
def farm(engine: Engine) -> Engine:
    """A store with the one logger."""
    set_up(engine)
    return engine


def count(engine: Engine, name: str) -> int:
    with reading(engine) as connection:
        table = tables.metadata.tables[name]
        return connection.execute(select(func.count()).select_from(table)).scalar_one()


def days_of(engine: Engine) -> list[date]:
    return [day for _, day, *_ in kept(engine)["daily_mean"]]


def test_each_reading_of_a_file_is_counted_once(farm: Engine, tmp_path: Path) -> None:
    lines = [
        row(1, (14.0, 15.0)),
        row(2, (14.5, None)),
        "2025-10-01 3 o'clock,1,2",
        row(4, (14, 15)),
    ]
    lines += ["2025-10-01 05:00,warm,15.5"]
    report = import_log(farm, write_lines(tmp_path / "log.csv", lines))
    # by hand: 2 + 1 + 0 + 2 + 1 inserted; line 4 rejects two readings, line 6 one
    assert counts(report) == (6, 0, 0, 3, 1)
    assert [(reject.line, reject.text) for reject in report.rejects] == [
        (4, "2025-10-01 3 o'clock,1,2"),
        (6, "warm"),
    ]
    assert sum(counts(report)) == len(lines) * 2


def test_a_reading_is_kept_in_utc_with_its_flag(farm: Engine, tmp_path: Path) -> None:
    import_log(farm, write_log(tmp_path / "log.csv", {9: (14.25, 50.0)}))
    # by hand: 09:00 at UTC+10:00 is 23:00 of the day before; 50 °C is beyond believable soil
    instant = datetime(2025, 9, 30, 23, tzinfo=UTC)
    assert [found[1:] for found in kept(farm)["reading"]] == [
        (instant, 14.25, 1),
        (instant, 50.0, 3),
    ]


def test_what_was_rejected_is_kept_with_the_import(farm: Engine, tmp_path: Path) -> None:
    import_log(farm, write_lines(tmp_path / "log.csv", ["yesterday,1,2"]))
    with reading(farm) as connection:
        batch = connection.execute(select(tables.import_batch)).one()
        reject = connection.execute(select(tables.import_reject)).one()
    assert (batch.logger_id, batch.file, batch.imported_at) == (LOGGER, "log.csv", NOW)
    assert (batch.inserted, batch.rejected) == (0, 2)
    assert (reject.import_id, reject.line, reject.text) == (batch.id, 2, "yesterday,1,2")


def test_a_cell_of_rubbish_bytes_is_rejected_on_either_database(
    farm: Engine, tmp_path: Path
) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(b"time,T15,T30\n2025-10-01 01:00,1\x008,15\n2025-10-01 02:00,\xff\xfe,15\n")
    assert counts(import_log(farm, path)) == (2, 0, 0, 2, 0)


def test_a_conflict_keeps_the_first_value_and_lists_the_other(farm: Engine, tmp_path: Path) -> None:
    import_log(farm, write_log(tmp_path / "log.csv", {1: (14.0, 15.0), 2: (14.0, 15.0)}))
    later = write_log(tmp_path / "later.csv", {1: (14.0, 19.0), 2: (14.0, 15.0)})
    report = import_log(farm, later)
    instant = datetime(2025, 9, 30, 15, tzinfo=UTC)
    assert counts(report) == (0, 3, 1, 0, 0)
    assert report.conflicts == (FileConflict(str(later), "T30", instant, 15.0, 19.0),)
    assert [value for _, at, value, _ in kept(farm)["reading"] if at == instant] == [14.0, 15.0]
    assert [found[1:] for found in kept(farm)["conflict"]] == [(instant, 19.0)]


@pytest.mark.sqlite_by_day
def test_a_file_that_contradicts_itself_is_as_its_rows_one_by_one(
    farm: Engine, tmp_path: Path
) -> None:
    lines = [row(1, (14.0, 15.0)), row(1, (14.0, 16.0)), row(1, (13.0, 16.0))]
    report = import_log(farm, write_lines(tmp_path / "log.csv", lines))
    whole = kept(farm)
    forget(farm)
    one_by_one = [import_log(farm, write_lines(tmp_path / "row.csv", [line])) for line in lines]
    assert counts(report) == (2, 1, 3, 0, 0)
    assert kept(farm) == whole
    assert tuple(map(sum, zip(*map(counts, one_by_one), strict=True))) == counts(report)


def test_a_dry_run_counts_alike_and_writes_nothing(farm: Engine, tmp_path: Path) -> None:
    path = write_lines(tmp_path / "log.csv", [row(1, (14.0, None)), "yesterday,1,2"])
    dry = import_log(farm, path, dry_run=True)
    assert [count(farm, name) for name in ("reading", "daily_mean", "import_batch")] == [0, 0, 0]
    assert dry == import_log(farm, path)


def test_an_import_that_brings_nothing_new_is_noted(farm: Engine, tmp_path: Path) -> None:
    path = write_log(tmp_path / "log.csv", {1: (14.0, 15.0)})
    import_log(farm, path)
    import_log(farm, path)
    assert count(farm, "import_batch") == 2


@pytest.mark.sqlite_by_day
def test_a_file_with_no_row_at_all_is_imported(farm: Engine, tmp_path: Path) -> None:
    assert counts(import_log(farm, write_lines(tmp_path / "log.csv", []))) == (0, 0, 0, 0, 0)


@pytest.mark.sqlite_by_day
def test_a_refused_file_leaves_nothing(farm: Engine, tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time,T15\n2025-10-01 01:00,14\n")
    with pytest.raises(FileRefused, match="T30"):
        import_log(farm, path)
    assert count(farm, "import_batch") == 0


@pytest.mark.sqlite_by_day
def test_an_unknown_logger_is_refused_with_those_there_are(engine: Engine, tmp_path: Path) -> None:
    path = write_log(tmp_path / "log.csv", {})
    with pytest.raises(UnknownLoggerError, match="set up a farm"):
        import_log(engine, path)


@pytest.mark.sqlite_by_day
def test_only_readings_since_the_probe_lies_there_make_daily_means(
    engine: Engine, tmp_path: Path
) -> None:
    history = [
        {"column": column, "depth_cm": 15, "valid_from": date(2025, 10, 2)}
        for column in ("T15", "T30")
    ]
    set_up(engine, {"probes": history})
    # 00:00 ends 1 October
    report = import_log(engine, write_log(tmp_path / "log.csv", {24: (9, 9), 25: (14, 15)}))
    assert report.inserted == 4
    assert days_of(engine) == [date(2025, 10, 2)] * 2


@pytest.mark.sqlite_by_day
def test_a_calibration_offset_moves_the_mean_and_leaves_the_reading(
    engine: Engine, tmp_path: Path
) -> None:
    history = [
        {"column": "T15", "depth_cm": 15},
        {
            "column": "T15",
            "depth_cm": 20,
            "valid_from": date(2025, 10, 2),
            "calibration_offset_c": -0.5,
        },
    ]
    set_up(engine, {"probes": history})
    import_log(engine, write_log(tmp_path / "log.csv", {1: (14, None), 25: (14, None)}))
    assert [mean_c for _, _, mean_c, *_ in kept(engine)["daily_mean"]] == [14.0, 13.5]
    assert [value for _, _, value, _ in kept(engine)["reading"]] == [14.0, 14.0]


@LAW
@given(values=VALUES)
def test_importing_twice_equals_once(farm: Engine, tmp_path: Path, values: Values) -> None:
    forget(farm)
    path = write_log(tmp_path / "log.csv", values)
    first = import_log(farm, path)
    once = kept(farm)
    second = import_log(farm, path)
    assert kept(farm) == once
    assert counts(second) == (0, first.inserted, 0, 0, first.missing)


@LAW
@given(values=VALUES, data=st.data())
def test_parts_in_any_order_equal_the_whole(
    farm: Engine, tmp_path: Path, values: Values, data: st.DataObject
) -> None:
    forget(farm)
    import_log(farm, write_log(tmp_path / "whole.csv", values))
    whole = kept(farm)
    forget(farm)
    part_of = {hour: data.draw(st.integers(0, 3)) for hour in values}
    for part in data.draw(st.permutations(range(4))):
        part_values = {hour: values[hour] for hour in values if part_of[hour] == part}
        import_log(farm, write_log(tmp_path / f"part-{part}.csv", part_values))
    assert kept(farm) == whole


@pytest.mark.sqlite_by_day
@LAW
@given(values=VALUES, data=st.data())
def test_the_order_of_rows_is_irrelevant(
    engine: Engine, tmp_path: Path, values: Values, data: st.DataObject
) -> None:
    set_up(engine, layout={"order": "any"})
    forget(engine)
    import_log(engine, write_log(tmp_path / "log.csv", values))
    in_order = kept(engine)
    forget(engine)
    hours = data.draw(st.permutations(list(values)))
    import_log(engine, write_lines(tmp_path / "log.csv", [row(h, values[h]) for h in hours]))
    assert kept(engine) == in_order


@LAW
@given(values=VALUES, data=st.data())
def test_daily_means_that_follow_each_import_equal_those_of_all_readings(
    farm: Engine, tmp_path: Path, values: Values, data: st.DataObject
) -> None:
    forget(farm)
    for part in range(3):
        drawn = {hour: values[hour] for hour in values if data.draw(st.booleans())}
        import_log(farm, write_log(tmp_path / f"part-{part}.csv", drawn))
    followed = kept(farm)
    with writing(farm) as connection:
        connection.execute(tables.daily_mean.delete())
        refresh_daily_means(connection, fetch_logger(connection, LOGGER))
    assert kept(farm) == followed


@pytest.mark.sqlite_by_day
def test_the_report_of_two_files_is_the_sum_of_theirs(farm: Engine, tmp_path: Path) -> None:
    one = import_log(farm, write_log(tmp_path / "one.csv", {1: (14.0, 15.0)}))
    other = import_log(farm, write_lines(tmp_path / "other.csv", ["yesterday,1,2"]))
    both = one + other
    assert counts(both) == (2, 0, 0, 2, 0)
    assert both.rejects == (
        FileReject(str(tmp_path / "other.csv"), 2, other.rejects[0].reason, "yesterday,1,2"),
    )


@pytest.mark.sqlite_by_day
def test_fahrenheit_in_a_file_of_celsius_is_questioned_and_kept_as_it_is(
    farm: Engine, tmp_path: Path
) -> None:
    path = write_log(tmp_path / "april.csv", dict.fromkeys(range(24), (63.0, 64.0)))
    report = import_log(farm, path)
    assert report.inserted == 48
    assert report.signs == (
        "half of the readings at 30 cm lie above 64.0 °C, which soil hardly does: are they °F? "
        "check unit in layout.plain",
    )


@pytest.mark.sqlite_by_day
@pytest.mark.parametrize("temp_c", [39.9, -3.9])
def test_soil_as_hot_or_cold_as_it_gets_is_not(farm: Engine, tmp_path: Path, temp_c: float) -> None:
    path = write_log(tmp_path / "april.csv", dict.fromkeys(range(24), (temp_c, temp_c)))
    assert import_log(farm, path).signs == ()


@pytest.mark.sqlite_by_day
def test_signs_of_a_wrong_clock_are_kept_with_the_import(farm: Engine, tmp_path: Path) -> None:
    log = write_log(tmp_path / "april.csv", {1: (12.0, 12.0), 2400: (12.0, 12.0)})
    report = import_log(farm, log)
    # by hand: START and 2,400 h, at UTC+10:00
    (sign,) = report.signs
    assert sign.startswith("the newest stamp, 2026-01-08 14:00 UTC, lies 926.0 h in the future")
    with reading(farm) as connection:
        assert connection.scalar(select(tables.import_batch.c.signs)) == [sign]
