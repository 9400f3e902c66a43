"""A block whose probes are too shallow, carried down to its root zone; every output says so."""

from __future__ import annotations

import csv
import io
import json
import tomllib
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import Engine, insert, select, update

from probes.frames import DailyMeans
from service.farm.problems import FarmFileError
from service.farm.read import farm_from_tables
from service.rounds import run_round
from service.settings import Settings
from service.store import tables
from service.store.blocks import fetch_blocks
from service.store.daily import store_daily_means
from service.store.engine import reading, writing
from tests.commands import run
from tests.farms import farm_text, news, set_up, stored_farm
from tests.mails import text_of
from tests.planted import PROBE, plant_block, plant_recipient

pytestmark = pytest.mark.sqlite_by_day

CARRIED = farm_text(depths_cm=[10]).replace(
    'name = "Terrace 7"', 'name = "Terrace 7"\ncarry = true'
)
KNOWN_SOIL = CARRIED.replace("carry = true", "carry = true\ndiffusivity_mm2_s = 0.65")


@pytest.mark.both_by_day
def test_carrying_comes_back_in_the_farm_file(engine: Engine) -> None:
    set_up(engine, KNOWN_SOIL)
    block = stored_farm(engine).block["terrace-7"]
    assert (block.carry, block.diffusivity_mm2_s) == (True, 0.65)
    assert news(set_up(engine, KNOWN_SOIL)) == []


def test_carrying_is_off_unless_it_is_written_and_off_again_when_it_is_taken_out(engine) -> None:
    set_up(engine, farm_text(depths_cm=[10]))
    assert not stored_farm(engine).block["terrace-7"].carry
    set_up(engine, CARRIED)
    set_up(engine, farm_text(depths_cm=[10]))
    with reading(engine) as connection:
        assert connection.execute(select(tables.block_carry)).all() == []
        assert fetch_blocks(connection)[0].ground is None


def test_the_soil_of_a_block_is_the_one_that_its_owner_knows(engine: Engine) -> None:
    set_up(engine, KNOWN_SOIL)
    with reading(engine) as connection:
        ground = fetch_blocks(connection)[0].ground
    assert ground is not None
    assert (ground.diffusivity_m2_s, ground.factor) == pytest.approx((6.5e-7, 1.2))


def test_a_diffusivity_without_carrying_is_refused_with_its_remedy() -> None:
    text = KNOWN_SOIL.replace("carry = true\n", "")
    with pytest.raises(FarmFileError) as refused:
        farm_from_tables(tomllib.loads(text))
    assert "carry = true" in " ".join(refused.value.lines)


@pytest.fixture
def carried(engine: Engine) -> Engine:
    """A block of one probe at 10 cm over two springs, which is carried."""
    with writing(engine) as connection:
        plant_block(connection)
        plant_recipient(connection, "Ada Example", channels=("mail", "sms"))
        connection.execute(update(tables.probe_stretch).values(depth_cm=10.0))
        connection.execute(insert(tables.block_carry), {"block_id": "terrace-7"})
        days = np.datetime64("2024-01-01") + np.arange(520)
        mean_c = 16 - 11 * np.cos(2 * np.pi * (np.arange(520) - 30) / 365.25)
        slots = np.full(days.size, 24, np.int16)
        complete = np.ones(days.size, bool)
        store_daily_means(
            connection, PROBE, days, DailyMeans(days, mean_c, slots, slots, slots * 0, complete)
        )
    return engine


AS_OF = date(2025, 5, 25)


def digseason(tmp_path: Path, store_url: str, *words: str) -> str:
    code, printed = run(tmp_path, *words, "--as-of", AS_OF.isoformat(), database_url=store_url)
    assert code == 0, printed
    return printed


@pytest.mark.both_by_day
@pytest.mark.usefixtures("carried")
def test_windows_say_that_they_are_estimated_and_from_where(store_url, tmp_path) -> None:
    records = json.loads(digseason(tmp_path, store_url, "windows", "--json"))
    assert {one["basis"] for one in records} == {"estimated from 10 cm"}
    assert {one["opened_estimated"] for one in records} == {1}


@pytest.mark.usefixtures("carried")
def test_the_table_of_windows_says_so(store_url, tmp_path) -> None:
    printed = digseason(tmp_path, store_url, "windows")
    assert "root zone 15-45 cm, estimated from 10 cm" in printed
    assert max(map(len, printed.splitlines())) <= 80


@pytest.mark.usefixtures("carried")
def test_outlooks_say_so(store_url, tmp_path) -> None:
    assert "\n  estimated from 10 cm\n" in digseason(tmp_path, store_url, "outlook")
    (row, *_) = csv.DictReader(io.StringIO(digseason(tmp_path, store_url, "outlook", "--csv")))
    assert row["basis"] == "estimated from 10 cm"


@pytest.mark.usefixtures("carried")
def test_measured_and_estimated_dates_stand_side_by_side(store_url, tmp_path) -> None:
    words = ("windows", "--measured-too", "--csv")
    rows = list(csv.DictReader(io.StringIO(digseason(tmp_path, store_url, *words))))
    opened = {
        row["basis"]: date.fromisoformat(row["opened_on"])
        for row in rows
        if (row["season"], row["kind"]) == ("2025", "spring")
    }
    # by hand: a yearly wave comes (30 - 10) cm / 2.24 m * 365 d / 2 pi = 5.2 d later, and the mean
    # over 15-45 cm is that of 30 cm within hundredths; it shrinks by a tenth, some days more
    later_d = (opened["estimated from 10 cm"] - opened["at 10 cm"]).days
    assert 5 <= later_d <= 9


@pytest.mark.usefixtures("carried")
def test_root_zone_days_say_that_they_are_estimated(store_url, tmp_path) -> None:
    words = ("rootzone", "--block", "terrace-7")
    rows = list(csv.DictReader(io.StringIO(digseason(tmp_path, store_url, *words, "--csv"))))
    assert (rows[-1]["estimated"], rows[-1]["depths_cm"]) == ("1", "10")
    assert 0.3 < float(rows[-1]["error_c"]) < 1.0
    assert "estimated from 10 cm" in digseason(tmp_path, store_url, *words)


@pytest.mark.usefixtures("carried")
def test_dates_by_other_numbers_say_so(store_url, tmp_path) -> None:
    words = ("whatif", "--open-f", "62")
    (record, *_) = json.loads(digseason(tmp_path, store_url, *words, "--json"))
    assert record["basis"] == "estimated from 10 cm"
    assert "estimated from 10 cm" in digseason(tmp_path, store_url, *words)


@pytest.mark.usefixtures("carried")
def test_a_round_says_so(store_url, tmp_path) -> None:
    printed = digseason(tmp_path, store_url, "round")
    assert "Terrace 7 (terrace-7): spring opened, estimated from 10 cm" in printed


def test_what_people_are_told_says_so(carried: Engine, tmp_path: Path) -> None:
    report = run_round(
        carried, Settings(data=tmp_path), datetime(2025, 5, 26, 20, tzinfo=UTC), AS_OF
    )
    told = {path.suffix: path.read_bytes() for path in report.delivered}
    assert [notice.carried for notice in report.notices] == [True]
    assert "estimated from" in text_of(told[".eml"])
    assert "Estimated from 10 cm." in told[".txt"].decode()


@pytest.mark.usefixtures("engine")
def test_dates_behind_which_a_probe_was_bridged_are_marked(
    engine: Engine, store_url: str, tmp_path: Path
) -> None:
    with writing(engine) as connection:
        plant_block(connection)
        connection.execute(insert(tables.probe), {"id": 2, "logger_id": "u1", "channel": "T45"})
        stretch = {"probe_id": 2, "valid_from": date.min, "depth_cm": 45.0}
        connection.execute(insert(tables.probe_stretch), {**stretch, "calibration_offset_c": 0.0})
        days = np.datetime64("2025-02-01") + np.arange(114)
        for probe_id, lag_d, last in ((PROBE, 0, 114), (2, 3, 100)):
            mean_c = 16 - 11 * np.cos(2 * np.pi * (np.arange(last) + 1 - lag_d) / 365.25)
            slots, complete = np.full(last, 24, np.int16), np.ones(last, bool)
            means = DailyMeans(days[:last], mean_c, slots, slots, slots * 0, complete)
            store_daily_means(connection, probe_id, days[:last], means)
    (record,) = json.loads(digseason(tmp_path, store_url, "windows", "--json"))
    assert (record["opened_estimated"], record["basis"]) == (1, "at 30 and 45 cm")
    assert "opening estimated: a probe was bridged" in digseason(tmp_path, store_url, "windows")
    with reading(engine) as connection:
        assert connection.execute(select(tables.notice_estimate)).all() == []
    run_round(engine, Settings(data=tmp_path), datetime(2025, 5, 26, 20, tzinfo=UTC), AS_OF)
    with reading(engine) as connection:
        (row,) = connection.execute(select(tables.notice_estimate)).all()
    assert (row.carried, row.estimated) == (False, True)
