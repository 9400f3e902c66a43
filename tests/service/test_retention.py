"""Old readings leave, their daily means stay; from then on nothing changes before a day."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, func, select, text

from probes.frames import FAIL
from service.backups import restore_backup, write_backup
from service.daily_means import pack_daily_means
from service.intake.pushes import READERS, keep_push
from service.intake.rereading import reread
from service.intake.settling import NoWordError, settle
from service.intake.undoing import restore, withdraw
from service.overruling import overrule
from service.retention import find_margin, let_go
from service.store import tables
from service.store.engine import open_engine, reading, writing
from service.store.frozen import FrozenError, freeze
from service.store.loggers import fetch_logger
from service.store.readings import fetch_readings
from service.store.schema import upgrade
from service.store.settlements import Selection
from tests.commands import run
from tests.farms import THERMOMETER, farm_text
from tests.farms import set_up as set_up_text
from tests.imported import (
    DEPTHS_CM,
    LOGGER,
    NOW,
    Values,
    counts,
    import_log,
    kept,
    set_up,
    write_log,
)
from tests.pg import Cluster
from tests.stores import rows_of

# by hand: 334 days from 1 November 2024 to 1 October 2025, where hour 0 is
BEFORE, FROZEN_HOUR = date(2024, 11, 1), -334 * 24
FROZEN_UNTIL = datetime(2024, 10, 31, 14, tzinfo=UTC)  # midnight at UTC+10:00
WHY = "readings before 2024-11-01 are kept as daily means only"
EVERY_H = 3


def some_values(first: int, last: int, more_c: float = 0.0) -> Values:
    """Return readings every three hours that no check minds."""
    return {
        hour: (16 + hour // 24 % 5 / 4 + more_c, 15 + hour // 24 % 3 / 4)
        for hour in range(first, last, EVERY_H)
    }


@pytest.fixture
def farm(engine: Engine, tmp_path: Path) -> Engine:
    """One logger, three files: all before the day, to both sides of it with a conflict, after."""
    set_up(engine, layout={"interval_min": EVERY_H * 60})
    import_log(engine, write_log(tmp_path / "1.csv", some_values(-12_000, -9_000)))
    import_log(engine, write_log(tmp_path / "2.csv", some_values(-9_300, -6_000)))
    import_log(engine, write_log(tmp_path / "3.csv", some_values(-8_100, 0, 0.25)))
    return engine


def reading_counts(engine: Engine) -> Counter[tuple[int, int]]:
    """Return how many readings there are of each probe and year."""
    with reading(engine) as connection:
        rows = connection.execute(select(tables.reading.c.probe_id, tables.reading.c.observed_at))
        return Counter((probe_id, at.year) for probe_id, at in rows)


@pytest.fixture
def frozen(farm: Engine) -> Engine:
    """The same, the readings before the day gone."""
    let_go(farm, BEFORE, NOW)
    return farm


def days(engine: Engine, before: date = date.max) -> list[tuple[Any, ...]]:
    """Return the daily means before a day."""
    mean = tables.daily_mean
    query = select(mean).where(mean.c.day < before).order_by(mean.c.probe_id, mean.c.day)
    with reading(engine) as connection:
        return [tuple(row) for row in connection.execute(query)]


def readings_since(engine: Engine, after: datetime = FROZEN_UNTIL) -> list[tuple[Any, ...]]:
    one = tables.reading
    query = select(one.c.probe_id, one.c.observed_at, one.c.soil_temp_c, one.c.flag)
    with reading(engine) as connection:
        rows = connection.execute(query.where(one.c.observed_at > after))
        return sorted(tuple(row) for row in rows)


def count_old(engine: Engine) -> int:
    """Return how many readings are left from more than two months before the day."""
    old = tables.reading.c.observed_at <= FROZEN_UNTIL - timedelta(days=60)
    with reading(engine) as connection:
        return connection.scalar(select(func.count()).select_from(tables.reading).where(old)) or 0


def kept_contents(engine: Engine) -> list[int]:
    with reading(engine) as connection:
        ids = select(tables.import_content.c.import_id)
        return sorted(connection.scalars(ids))


def test_what_rests_on_days_is_exactly_as_it_was(
    farm: Engine, store_url: str, tmp_path: Path
) -> None:
    looks = [
        ("windows", "--as-of", "2025-09-30", "--json"),
        ("rootzone", "--block", "terrace-7", "--csv"),
        ("outlook", "--as-of", "2025-09-30", "--json"),
    ]
    means, after = days(farm), readings_since(farm)
    before = [run(tmp_path, *look, database_url=store_url) for look in looks]
    gone = let_go(farm, BEFORE, NOW)
    assert gone.readings > 4_000 / EVERY_H * len(DEPTHS_CM) / 2
    assert (count_old(farm), kept_contents(farm)) == (0, [2, 3])
    assert (days(farm), readings_since(farm)) == (means, after)
    assert [run(tmp_path, *look, database_url=store_url) for look in looks] == before


def test_on_postgresql_the_years_that_are_empty_are_dropped(frozen: Engine) -> None:
    if frozen.dialect.name == "sqlite":
        return
    with reading(frozen) as connection:
        names = connection.scalars(text("select inhrelid::regclass::text from pg_inherits"))
        assert "reading_2024" in (left := set(names))
        assert left.isdisjoint({"reading_2023", "reading_2022"})


def test_of_a_year_that_is_over_stays_what_says_when_a_probe_fell_silent(
    engine: Engine, tmp_path: Path
) -> None:
    set_up(engine, layout={"interval_min": EVERY_H * 60})
    values = dict(some_values(-28_000, -12_000))  # by hand: from July 2022 to May 2024
    for hour in [hour for hour in values if hour > -20_000]:  # 20 June 2023
        values[hour] = (values[hour][0], None)
    import_log(engine, write_log(tmp_path / "old.csv", values))
    old, all_of = reading_counts(engine), len(values) + len(range(-28_000, -19_999, EVERY_H))
    gone = let_go(engine, BEFORE, NOW)
    left = reading_counts(engine)
    assert (sum(old.values()), sum(left.values())) == (all_of, all_of - gone.readings)
    assert {year for _, year in left} == {2023, 2024}
    assert {probe_id for probe_id, year in left if year == 2023} == {2}  # T30
    with reading(engine) as connection:
        logger = fetch_logger(connection, LOGGER)
        first, *_, last = fetch_readings(connection, 2).observed_at.tolist()
    assert last - first == find_margin(logger) - timedelta(hours=EVERY_H)  # that far back leaves


def test_a_backup_and_what_is_restored_of_it_are_frozen_too(frozen: Engine, tmp_path: Path) -> None:
    write_backup(frozen, tmp_path / "backup.db")
    other = open_engine(f"sqlite:///{tmp_path / 'restored.db'}")
    upgrade(other)
    restore_backup(tmp_path / "backup.db", other, tmp_path, NOW)
    late = write_log(tmp_path / "late.csv", some_values(-9_000, -7_000, 1.0))
    of_both = [counts(import_log(store, late)) for store in (frozen, other)]
    assert of_both[0] == of_both[1]
    # by hand: 984 hours from -9,000 to -8,016, a reading at both ends, of two probes
    assert of_both[0][3] == 2 * (984 // EVERY_H + 1)
    assert kept(other) == kept(frozen)
    other.dispose()


@pytest.fixture
def elsewhere(engine: Engine, tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[str]:
    """The address of an empty database of the other kind."""
    if engine.dialect.name == "postgresql":
        yield f"sqlite:///{tmp_path / 'moved.db'}"
        return
    postgres: Cluster = request.getfixturevalue("postgres")
    with postgres.database() as name:
        yield postgres.url(name)


def test_what_is_frozen_and_packed_moves_to_the_other_database_as_it_is(
    frozen: Engine, store_url: str, elsewhere: str, tmp_path: Path
) -> None:
    pack_daily_means(frozen, NOW + timedelta(days=800))
    with reading(frozen) as connection:
        assert connection.scalar(select(func.count()).select_from(tables.daily_pack))
    looks = [("windows", "--as-of", "2025-09-30"), ("rootzone", "--block", "terrace-7", "--csv")]
    before = [run(tmp_path, *look, database_url=store_url) for look in looks]
    code, said = run(tmp_path, "move-store", elsewhere, database_url=store_url)
    assert code == 0, said
    moved = open_engine(elsewhere)
    assert rows_of(moved) == rows_of(frozen)
    assert [run(tmp_path, *look, database_url=elsewhere) for look in looks] == before
    both_sides = {FROZEN_HOUR - 30: (1.0, None), 10: (16.5, None)}
    report = import_log(moved, write_log(tmp_path / "new.csv", both_sides))
    assert [one.reason.endswith(WHY) for one in report.rejects] == [True]
    assert (report.inserted, report.rejected) == (1, 1)
    let_go(moved, BEFORE + timedelta(days=30), NOW)
    assert days(moved, BEFORE) == days(frozen, BEFORE)
    moved.dispose()


def test_what_is_broken_off_is_taken_up_again(frozen: Engine) -> None:
    again = let_go(frozen, BEFORE, NOW)
    assert (again.readings, again.deliveries) == (0, 0)


def test_of_a_file_from_before_the_day_the_rest_counts(frozen: Engine, tmp_path: Path) -> None:
    before = days(frozen, BEFORE)
    path = write_log(tmp_path / "4.csv", some_values(FROZEN_HOUR - 30, 30))
    report = import_log(frozen, path)
    # by hand: ten rows and that of midnight, which ends the day before; then ten rows are new
    assert counts(report)[0] == 2 * 10
    assert report.rejected == 2 * 11
    (reject,) = report.rejects
    assert reject.reason == f"this row and others up to 2024-10-31 14:00 UTC: {WHY}"
    assert days(frozen, BEFORE) == before


def test_of_a_push_each_reading_is_answered_for(frozen: Engine) -> None:
    at = (FROZEN_UNTIL, FROZEN_UNTIL + timedelta(hours=1))
    lines = [f"{one.isoformat()},30,15.5" for one in at]
    body = "\n".join(["observed_at,depth_cm,soil_temp_c", *lines])
    read = READERS["text/csv"]
    with writing(frozen) as connection:
        report = keep_push(connection, LOGGER, body.encode(), read(body.encode()), NOW)
    assert [one.reason for one in report.rejects] == [f"2024-10-31 14:00 UTC comes too late: {WHY}"]


def test_a_reading_by_hand_from_before_the_day_is_refused_in_words(
    engine: Engine, store_url: str, tmp_path: Path
) -> None:
    set_up_text(engine, farm_text(more=THERMOMETER))
    with writing(engine) as connection:
        freeze(connection, BEFORE, NOW)
    words = ("hand", "--thermometer", "h1", "--depth", "30", "--temp", "61F", "--by", "Ada", "--at")
    refused, why = run(tmp_path, *words, "2024-10-31 08:30", database_url=store_url)
    noted, _ = run(tmp_path, *words, "2024-11-01 08:30", database_url=store_url)
    assert (refused, noted) == (1, 0)
    assert f"2024-10-31 08:30 comes too late: {WHY}" in " ".join(why.split())


def change_calibration(engine: Engine) -> None:
    probes = [
        {"column": "T15", "depth_cm": 15, "calibration_offset_c": 1.0},
        {"column": "T30", "depth_cm": 30},
    ]
    set_up(engine, {"probes": probes}, layout={"interval_min": EVERY_H * 60})


def withdraw_third(engine: Engine) -> None:
    with writing(engine) as connection:
        withdraw(connection, 3, "Ada Example", "of another block", NOW)


def withdraw_second(engine: Engine) -> None:
    with writing(engine) as connection:
        withdraw(connection, 2, "Ada Example", "of another block", NOW)


def settle_all(engine: Engine) -> None:
    with writing(engine) as connection:
        settle(connection, LOGGER, Selection(), "other", "Ada Example", NOW)


def read_again(engine: Engine) -> None:
    set_up(engine, layout={"interval_min": EVERY_H * 60, "unit": "F"})
    with writing(engine) as connection:
        reread(connection, LOGGER, (), keep_layout=False)


def overrule_across(engine: Engine) -> None:
    ends = FROZEN_UNTIL - timedelta(days=20), FROZEN_UNTIL + timedelta(days=20)
    with writing(engine) as connection:
        logger = fetch_logger(connection, LOGGER, lock=True)
        overrule(connection, logger, logger.probe("T15"), ends, FAIL, "seen", "Ada", NOW)


@pytest.mark.parametrize(
    "change",
    [
        change_calibration,
        withdraw_second,
        withdraw_third,
        settle_all,
        read_again,
        overrule_across,
    ],
)
def test_what_changes_later_days_leaves_those_before_as_they_are(
    frozen: Engine, change: Callable[[Engine], None]
) -> None:
    before, since = days(frozen, BEFORE), days(frozen)
    change(frozen)
    assert days(frozen, BEFORE) == before
    assert days(frozen) != since


def test_what_is_taken_back_and_restored_comes_back(frozen: Engine) -> None:
    before = readings_since(frozen), days(frozen)
    withdraw_second(frozen)
    assert readings_since(frozen) != before[0]
    with writing(frozen) as connection:
        restore(connection, 2)
    assert (readings_since(frozen), days(frozen)) == before


def test_what_lies_before_the_day_is_refused_by_name(frozen: Engine) -> None:
    with writing(frozen) as connection:
        with pytest.raises(FrozenError, match=f"import 1 ends on 2024-09-2.*{WHY}"):
            withdraw(connection, 1, "Ada Example", "of another block", NOW)
        with pytest.raises(FrozenError, match=WHY):
            reread(connection, LOGGER, [1], keep_layout=False)
        logger = fetch_logger(connection, LOGGER, lock=True)
        ends = FROZEN_UNTIL - timedelta(days=2), FROZEN_UNTIL
        with pytest.raises(FrozenError, match=WHY):
            overrule(connection, logger, logger.probe("T15"), ends, FAIL, "seen", "Ada", NOW)
        of = Selection(last_at=FROZEN_UNTIL)
        with pytest.raises(NoWordError):
            settle(connection, LOGGER, of, "other", "Ada Example", NOW)


def test_reading_all_again_by_the_same_layout_changes_nothing(frozen: Engine) -> None:
    before = readings_since(frozen), days(frozen)
    with writing(frozen) as connection:
        rereads, retold = reread(connection, LOGGER, (), keep_layout=False)
    assert [one.before.id for one in rereads] == [2, 3]
    assert [one.after for one in rereads] == [one.before for one in rereads]
    assert not retold
    assert (readings_since(frozen), days(frozen)) == before


def test_the_command_says_what_would_go_and_then_does_it(
    farm: Engine, store_url: str, tmp_path: Path
) -> None:
    def keep(*words: str) -> tuple[int, str]:
        return run(tmp_path, "keep", *words, database_url=store_url)

    old = count_old(farm)
    nothing = keep()
    plan = keep("--readings-for", "400d")
    assert (nothing, plan[0], count_old(farm)) == ((0, "All readings are kept.\n"), 0, old)
    assert "would go" in plan[1]
    assert max(map(len, plan[1].splitlines())) <= 80
    code, said = keep("--readings-for", "400d", "--discard")
    assert (code, count_old(farm)) == (0, 0)
    assert max(map(len, said.splitlines())) <= 80
    assert "kept as daily means only" in " ".join(keep()[1].split())
    longer, why = keep("--readings-for", "3y")
    assert (longer, "have left already" in why) == (2, True)
    assert keep("--readings-for", "11m")[0] == 2
    assert keep("--readings-for", "soon")[0] == 2


def test_hours_that_a_rule_needs_do_not_leave(engine: Engine) -> None:
    rule = """
[rule.warm]
degree_days = "information"
degree_days_lower_f = 50
degree_days_upper_f = 86
degree_days_since = "01-01"
degree_days_sum_f = 250
"""
    farm = farm_text(more=rule).replace('name = "Terrace 7"', 'name = "Terrace 7"\nrule = "warm"')
    set_up_text(engine, farm)
    with pytest.raises(FrozenError, match="the rule of terrace-7 sums degree-days by the hour"):
        let_go(engine, BEFORE, NOW)
