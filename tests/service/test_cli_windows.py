"""digseason windows, rootzone and round, as a person and as a program read them."""

from __future__ import annotations

import csv
import io
import json
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import Engine

from probes.units import f_to_c
from service.store.engine import writing
from tests.commands import run
from tests.planted import plant_block, plant_days

pytestmark = pytest.mark.sqlite_by_day


@pytest.fixture
def warmed(engine: Engine, store_url: str, tmp_path: Path):
    """A block whose days are missing from 28 April to 3 May 2025 and which is open after."""
    with writing(engine) as connection:
        plant_block(connection)
        plant_days(connection, date(2025, 4, 1), [50.0] * 27)
        plant_days(connection, date(2025, 5, 4), [64.04] * 10)

    def digseason(*words: str) -> tuple[int, str]:
        return run(tmp_path, *words, database_url=store_url)

    return digseason


# by hand: R needs four days, so it is there again on 7 May; its last day before was 27 April
WINDOW = {
    "block": "terrace-7",
    "season": 2025,
    "kind": "spring",
    "opened_on": "2025-05-07",
    "not_before": "2025-04-28",
    # by hand: 64.04 is 0.02 °C above 64.0, within the error of 0.26 °C: it may not open at all
    "opened_earliest": "2025-04-28",
    "opened_latest": None,
    "closed_on": None,
    "closed_not_before": None,
    "closed_earliest": None,
    "closed_latest": None,
    "may_pause": 0,
    "reason": None,
    "opened_estimated": 0,
    "closed_estimated": 0,
    "degree_days_c": None,
    "basis": "at 30 cm",
    "source": None,
    "borrowed": 0,
    "by_hand": 0,
    "error_c": 0.2,
    "as_of": "2025-05-12",
}


@pytest.mark.both_by_day
def test_windows_as_json(warmed) -> None:
    code, printed = warmed("windows", "--as-of", "2025-05-12", "--json")
    assert (code, json.loads(printed)) == (0, [WINDOW])


def test_windows_as_csv(warmed) -> None:
    _, printed = warmed("windows", "--as-of", "2025-05-12", "--csv")
    (row,) = csv.DictReader(io.StringIO(printed))
    assert row == {name: "" if value is None else str(value) for name, value in WINDOW.items()}


def test_the_table_fits_80_columns_and_names_basis_bounds_and_state(warmed) -> None:
    _, printed = warmed("windows", "--as-of", "2025-05-12")
    assert max(map(len, printed.splitlines())) <= 80
    assert "root zone 15-45 cm, at 30 cm" in printed
    assert "between 28 Apr 2025 and 7 May 2025" in printed
    assert "open: five-day mean 64.0 °F on 12 May 2025" in printed
    assert "A closed window says nothing about a vine." in printed


def test_the_table_says_what_the_error_of_the_readings_leaves_open(warmed) -> None:
    _, printed = warmed("windows", "--as-of", "2025-05-12")
    assert "    give or take the error: opened 28 Apr or later, or not at all\n" in printed


def test_the_table_says_that_the_soil_warms_slowly(warmed, engine) -> None:
    with writing(engine) as connection:
        plant_days(connection, date(2025, 4, 1), [62.0 + 0.08 * i for i in range(60)])
    _, printed = warmed("windows", "--as-of", "2025-05-30")
    # by hand: R of 1 April + i is 62.0 + 0.08 (i - 2) °F: 64.0 at i = 27; 0.2563 °C are 0.461 °F,
    # so 63.539 at 21.2 and 64.461 at 32.8
    assert "the soil warms slowly, opened 23 Apr to 4 May" in printed
    assert max(map(len, printed.splitlines())) <= 80


def test_the_table_in_celsius(warmed) -> None:
    _, printed = warmed("windows", "--as-of", "2025-05-12", "--unit", "C")
    assert "five-day mean 17.8 °C" in printed


def test_a_value_just_under_the_limit_is_not_shown_as_the_limit(warmed, engine) -> None:
    with writing(engine) as connection:
        plant_days(connection, date(2025, 5, 4), [63.96] * 10)
    _, printed = warmed("windows", "--as-of", "2025-05-12")
    assert "warming: five-day mean just under 64 °F on 12 May 2025" in printed


def test_an_unknown_block_is_wrong_use_and_says_which_there_are(warmed) -> None:
    code, printed = warmed("windows", "--block", "nowhere")
    assert code == 2
    assert "known: terrace-7" in printed


def test_a_date_that_is_none_is_wrong_use(warmed) -> None:
    code, printed = warmed("windows", "--as-of", "soon")
    assert code == 2
    assert "write it as 2026-04-30" in printed


@pytest.mark.both_by_day
def test_root_zone_days_as_csv(warmed) -> None:
    _, printed = warmed("rootzone", "--block", "terrace-7", "--as-of", "2025-05-04", "--csv")
    rows = {row["day"]: row for row in csv.DictReader(io.StringIO(printed))}
    assert float(rows["2025-05-04"]["root_zone_c"]) == pytest.approx(f_to_c(64.04), abs=1e-12)
    assert rows["2025-04-30"] == {
        "day": "2025-04-30",
        "root_zone_c": "",
        "estimated": "0",
        "depths_cm": "30",
        "error_c": "",
        "by_hand": "0",
        "borrowed_from": "",
    }
    assert len(rows) == 34  # by hand: 1 April to 4 May


def test_root_zone_days_say_how_wrong_a_sensor_may_be(warmed, monkeypatch) -> None:
    monkeypatch.setenv("DIGSEASON_SENSOR_ACCURACY_C", "0.35")
    _, printed = warmed("rootzone", "--block", "terrace-7", "--as-of", "2025-05-04", "--csv")
    rows = {row["day"]: row for row in csv.DictReader(io.StringIO(printed))}
    assert rows["2025-05-04"]["error_c"] == "0.35"


def test_a_setting_that_cannot_be_is_wrong_use_and_is_named(warmed, monkeypatch) -> None:
    monkeypatch.setenv("DIGSEASON_SENSOR_ACCURACY_C", "-1")
    code, printed = warmed("windows")
    assert code == 2
    assert "DIGSEASON_SENSOR_ACCURACY_C = '-1'" in printed


def test_root_zone_days_as_a_table_show_the_mean_that_decides(warmed) -> None:
    words = ("rootzone", "--block", "terrace-7", "--as-of", "2025-05-07", "--days", "2")
    _, printed = warmed(*words)
    lines = printed.splitlines()
    assert lines[-2].split() == ["6", "May", "2025", "64.0", "°F", "-"]
    assert lines[-1].split() == ["7", "May", "2025", "64.0", "°F", "64.0", "°F"]


def test_a_round_says_what_it_noted(warmed) -> None:
    code, printed = warmed("round", "--as-of", "2025-05-12")
    assert (code, printed.splitlines()[:2]) == (
        0,
        ["1 block: 1 open", "  Terrace 7 (terrace-7): spring opened"],
    )
