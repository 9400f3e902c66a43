"""clock_corrections of a logger: from the farm file to the readings, and back."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import Engine

from probes.clock_corrections import ClockCorrection
from service.farm.problems import FarmFileError
from service.farm.read import read_farm_file
from service.store.clocks import fetch_clock_corrections
from service.store.engine import reading
from tests.commands import digseason
from tests.farms import farm_text, set_up, stored_farm
from tests.imported import write_log

LOGGER = 'layout = "plain"\n'
WRONG = '{ from = 2025-10-01T02:00:00, until = 2025-10-01T04:00:00, add = "+1h" }'


def farm(*entries: str, clock: str = "UTC+10:00") -> str:
    text = farm_text(depths_cm=(15, 30), clock=clock)
    return text.replace(LOGGER, f"{LOGGER}clock_corrections = [{', '.join(entries)}]\n", 1)


def corrections(engine: Engine) -> tuple[ClockCorrection, ...]:
    with reading(engine) as connection:
        return fetch_clock_corrections(connection, "u1")


def utc(month: int, day: int, hour: int) -> datetime:
    return datetime(2025, month, day, hour, tzinfo=UTC)


def test_stamps_are_meant_by_the_clock_of_the_layout(engine: Engine) -> None:
    set_up(engine, farm(WRONG))
    # by hand: 02:00 and 04:00 at UTC+10:00
    assert corrections(engine) == (ClockCorrection(utc(9, 30, 16), utc(9, 30, 18), 3600),)
    set_up(engine, farm(WRONG, clock="UTC"))
    assert corrections(engine) == (ClockCorrection(utc(10, 1, 2), utc(10, 1, 4), 3600),)


@pytest.mark.parametrize(
    ("add", "seconds", "exported"),
    [
        ("+1h", 3600, "+01:00:00"),
        ("-90min", -5400, "-01:30:00"),
        ("-01:00:00", -3600, "-01:00:00"),
        ("+0:00:07", 7, "+00:00:07"),
        ("+2d", 172_800, "+48:00:00"),
        ("+9132 d", 789_004_800, "+219168:00:00"),  # by hand: from 2000 to 2025, 25 * 365 + 7
    ],
)
def test_what_is_added_may_be_written_in_several_ways(
    engine: Engine, add: str, seconds: int, exported: str
) -> None:
    set_up(engine, farm(WRONG.replace("+1h", add)))
    (one,) = corrections(engine)
    (entry,) = stored_farm(engine).logger["u1"].clock_corrections
    assert (one.add_s, entry.add) == (seconds, exported)


@pytest.mark.parametrize(
    ("clock", "entry"),
    [
        ("UTC+10:00", WRONG),
        ("Australia/Sydney", WRONG),
        # by hand: on 6 April 02:30 happens twice in Sydney, at UTC+11:00 and at UTC+10:00
        (
            "Australia/Sydney",
            '{ from = 2025-04-06T02:30:00+11:00, until = 2025-04-06T04:00:00+10:00, add = "+1h" }',
        ),
    ],
)
def test_the_exported_farm_file_says_the_same(tmp_path: Path, clock: str, entry: str) -> None:
    path = tmp_path / "farm.toml"
    path.write_text(farm(entry, clock=clock))
    digseason(tmp_path, "setup", path)
    exported = digseason(tmp_path, "setup", "--export")
    path.write_text(exported)
    assert "clock_corrections = [" in exported
    assert "Changed" not in digseason(tmp_path, "setup", path)


@pytest.mark.parametrize(
    ("entries", "clock", "says"),
    [
        (
            [WRONG, WRONG.replace("T02", "T03").replace("T04", "T09")],
            "UTC+10:00",
            "the one from 2025-10-01 03:00:00 overlaps with one until 2025-10-01 04:00:00",
        ),
        (
            [WRONG.replace("T04", "T01")],
            "UTC+10:00",
            "clock_corrections, item 1, until = 2025-10-01 01:00:00: does not lie after from",
        ),
        ([WRONG.replace("+1h", "1h")], "UTC+10:00", 'add = "1h": write with its sign'),
        ([WRONG.replace("+1h", "+0h")], "UTC+10:00", "at least one second"),
        ([WRONG.replace("+1h", "+99d 2h")], "UTC+10:00", "write with its sign"),
        ([WRONG.replace("add", "added")], "UTC+10:00", "did you mean add?"),
        ([WRONG.replace("T02:00:00", "")], "UTC+10:00", "from = 2025-10-01: must be a date and"),
        (
            [WRONG.replace("T02:00:00", "T02:00:00+10:00")],
            "UTC+10:00",
            "both with their offset or both without",
        ),
        (
            [WRONG.replace("10-01", "10-05").replace("T02:00", "T02:30")],
            "Australia/Sydney",
            "2025-10-05 02:30:00 does not happen by clock",
        ),
        (
            [WRONG.replace("10-01", "04-06").replace("T02:00", "T02:30")],
            "Australia/Sydney",
            "2025-04-06 02:30:00 happens twice by clock",
        ),
    ],
)
def test_what_is_not_clear_is_refused(
    tmp_path: Path, entries: list[str], clock: str, says: str
) -> None:
    path = tmp_path / "farm.toml"
    path.write_text(farm(*entries, clock=clock))
    with pytest.raises(FarmFileError) as refused:
        read_farm_file(path)
    assert says in str(refused.value)


def test_readings_come_in_at_their_true_times_and_their_stamps_are_kept(tmp_path: Path) -> None:
    path = tmp_path / "farm.toml"
    path.write_text(farm(WRONG))
    digseason(tmp_path, "setup", path)
    log = write_log(tmp_path / "log.csv", {hour: (float(hour), None) for hour in (1, 2, 5)})
    digseason(tmp_path, "import", "--logger", "u1", log)
    csv_text = digseason(tmp_path, "readings", "--logger", "u1", "--csv", "--stamps")
    rows = [
        (one["soil_temp_c"], one["observed_at"][11:16], one["stamped_at"][11:16])
        for one in csv.DictReader(io.StringIO(csv_text))
    ]
    # by hand: what was stamped 02:00 was observed at 03:00; all ten hours earlier in UTC
    assert rows == [("1.0", "15:00", "15:00"), ("2.0", "17:00", "16:00"), ("5.0", "19:00", "19:00")]
    assert "Of 1 the clock was corrected" in digseason(tmp_path, "readings", "--logger", "u1")


def test_files_read_before_keep_the_old_clock_until_they_are_read_again(tmp_path: Path) -> None:
    path = tmp_path / "farm.toml"
    path.write_text(farm_text(depths_cm=(15, 30)))
    digseason(tmp_path, "setup", path)
    log = write_log(tmp_path / "log.csv", {2: (2.0, None)})
    digseason(tmp_path, "import", "--logger", "u1", log)
    path.write_text(farm(WRONG))
    printed = digseason(tmp_path, "setup", path)
    assert "keep the old clock, until `digseason imports reread`" in " ".join(printed.split())
    csv_words = ("readings", "--logger", "u1", "--csv")
    assert "T16:00:00Z" in digseason(tmp_path, *csv_words)
    digseason(tmp_path, "imports", "reread", "--logger", "u1")
    assert "T17:00:00Z" in digseason(tmp_path, *csv_words)
