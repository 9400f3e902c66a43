"""digseason region and ribbon: the same blocks in figures, on the map, by share, as ribbons."""

from __future__ import annotations

import csv
import io
import json
import shutil
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import insert, update

from alerts.state_words import TEXTURES, show_state
from alerts.words import LANGUAGES
from service.store import tables
from service.store.engine import open_engine, writing
from tests.commands import run
from tests.planted import plant_block, plant_days, plant_place

AS_OF = ("--as-of", "2025-05-10")


@pytest.fixture(scope="module")
def data(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Terrace 7 is open since 1 May at 100 m in The Flats; Lee is too cold at 250 m, in none."""
    folder = tmp_path_factory.mktemp("region")
    engine = open_engine(f"sqlite:///{shutil.copy(sqlite_template, folder)}")
    with writing(engine) as connection:
        plant_block(connection)
        connection.execute(insert(tables.district), {"id": "flats", "name": "The Flats"})
        connection.execute(update(tables.site).values(district_id="flats", elevation_m=100.0))
        plant_place(connection, "lee", elevation_m=250.0, probe_id=2)
        # by hand: half a °F a day from 50, so that R is 64.0 on 1 May
        plant_days(connection, date(2025, 4, 1), [50.0 + 0.5 * i for i in range(40)])
        plant_days(connection, date(2025, 4, 1), [50.0] * 40, 2)
    engine.dispose()
    return folder


def test_blocks_are_counted_by_district_and_by_height(data: Path) -> None:
    _, printed = run(data, "region", *AS_OF, "--json")
    found = [
        (one["district"], one["from_m"], one["open"], one["waiting"], one["opened_first"])
        for one in json.loads(printed)
    ]
    assert found == [
        ("flats", None, 1, 0, "2025-05-01"),
        (None, None, 0, 1, None),
        (None, 100, 1, 0, "2025-05-01"),
        (None, 200, 0, 1, None),
    ]
    _, printed = run(data, "region", *AS_OF, "--district", "flats", "--csv")
    assert [row["open"] for row in csv.DictReader(io.StringIO(printed))] == ["1"]


def test_the_table_fits_80_columns_and_clears_no_vine(data: Path) -> None:
    _, printed = run(data, "region", *AS_OF)
    assert max(map(len, printed.splitlines())) <= 80
    assert "The Flats                     1      1      0" in printed
    assert "opened 1 May 2025" in printed
    assert "A closed window says nothing about a vine." in printed


def test_an_unknown_district_is_refused_with_those_there_are(data: Path) -> None:
    code, printed = run(data, "region", "--district", "hills")
    assert code == 2
    assert "there is no district 'hills'; known: flats" in printed


def test_a_map_and_the_share_open_are_written_as_pictures(data: Path, tmp_path: Path) -> None:
    drawn, share = tmp_path / "map.svg", tmp_path / "share.svg"
    code, printed = run(data, "region", *AS_OF, "--map", drawn, "--share", share)
    assert code == 0
    assert f"wrote {drawn}" in printed
    assert "The Flats: open 1." in drawn.read_text("utf-8")
    assert "@media (prefers-color-scheme: dark)" in drawn.read_text("utf-8")
    assert "The Flats: 1 block<" in share.read_text("utf-8")


def test_ribbons_are_shown_by_block_and_by_year(data: Path, tmp_path: Path) -> None:
    _, printed = run(data, "ribbon", *AS_OF)
    # by hand: 48 cells of 7.6 days from 0; open from 1 May (day 120, cell 15, of 114 to 121) to
    # 10 May (day 129, cell 17, of 129 to 136)
    assert "Terrace 7\n  Jan 2025 │   │  │   │···███◂┊" in printed
    picture = tmp_path / "years.svg"
    code, printed = run(data, "ribbon", "--block", "terrace-7", *AS_OF, "--svg", picture)
    assert (code, printed) == (0, f"wrote {picture}\n")
    assert ">2025</text>" in picture.read_text("utf-8")


def test_a_bulletin_is_written_for_a_district(data: Path, tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.html"
    code, printed = run(data, "bulletin", *AS_OF, "--district", "flats", "--out", sheet)
    assert (code, printed) == (0, f"wrote {sheet}\n")
    page = sheet.read_text("utf-8").replace("\N{NO-BREAK SPACE}", " ")
    assert "<h1>Dig season on 10 May: open in 1 of 1 block</h1>" in page
    assert "@page" in page
    assert "Lee" not in page
    code, printed = run(data, "bulletin", "--district", "hills", "--out", sheet)
    assert (code, "known: flats" in printed) == (2, True)


def test_a_calendar_is_the_same_for_the_same_day(data: Path, tmp_path: Path) -> None:
    first, again = tmp_path / "1.ics", tmp_path / "2.ics"
    code, printed = run(data, "calendar", *AS_OF, "--out", first)
    assert (code, printed) == (0, f"wrote {first}\n")
    run(data, "calendar", *AS_OF, "--out", again, "--block", "terrace-7")
    assert b"DTSTART;VALUE=DATE:20250501\r\n" in first.read_bytes()
    assert b"NAME:Alder Bench Growers\r\n" in first.read_bytes()
    # Lee has had no window
    renamed = first.read_bytes().replace(b"NAME:Alder Bench Growers", b"NAME:Terrace 7")
    assert again.read_bytes() == renamed
    both = ("--block", "terrace-7", "--district", "flats")
    assert run(data, "calendar", *both, "--out", first)[0] == 2


def test_a_file_is_written_with_its_folder_or_refused_with_why(data: Path, tmp_path: Path) -> None:
    deep = tmp_path / "new" / "folder" / "map.svg"
    assert run(data, "region", *AS_OF, "--map", deep)[0] == 0
    assert deep.exists()
    code, printed = run(data, "ribbon", *AS_OF, "--svg", deep / "below.svg")
    assert (code, printed.count("Not a directory") + printed.count("File exists")) == (1, 1)
    assert "name another file" in printed


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_state_has_a_word_of_its_own(language: str) -> None:
    words = {show_state(state, language) for state in TEXTURES}
    assert len(words) == len(TEXTURES)
    assert "" not in words
