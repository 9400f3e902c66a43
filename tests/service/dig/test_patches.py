"""digseason patches: a table of vigour in, patches and vines to dig out; patches set aside."""

from __future__ import annotations

import csv
import io
import json
import shutil
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import Engine, update

from alerts.dig.vigour import Vigour
from service.store import tables
from service.store.engine import open_engine, writing
from tests.commands import run
from tests.planted import plant_block
from tests.vigour_blocks import PLANTING, plant_vigour, write_vigour

SAMPLE = Path(__file__).parents[3] / "sample_logs" / "river-row_ndvi.csv"
BLOCK = ("--block", "terrace-7")
PERSON = ("--by", "Ada")


def table_of(rows: slice, vines: slice) -> str:
    value = 2 + 0.04 * np.random.default_rng(3).normal(size=(20, 30))
    value[rows, vines] *= 0.6
    return write_vigour(Vigour(value, PLANTING, 1, 1))


def plant(engine: Engine) -> None:
    with writing(engine) as connection:
        plant_block(connection)
        spacing = {"row_spacing_m": PLANTING.row_m, "vine_spacing_m": PLANTING.vine_m}
        connection.execute(update(tables.block).values(spacing))


@pytest.fixture
def sqlite(sqlite_template: Path, tmp_path: Path) -> Iterator[Engine]:
    """The SQL is the same on both databases: one test is enough to show it."""
    opened = open_engine(f"sqlite:///{shutil.copy(sqlite_template, tmp_path)}")
    yield opened
    opened.dispose()


@pytest.fixture
def digseason(sqlite: Engine, tmp_path: Path):
    plant(sqlite)
    return lambda *words: run(tmp_path, *words, database_url=str(sqlite.url))


@pytest.fixture
def vigour_csv(tmp_path: Path) -> Path:
    path = tmp_path / "vigour.csv"
    path.write_text(table_of(slice(6, 10), slice(8, 20)), "utf-8")
    return path


def test_a_table_is_kept_and_its_growth_told_the_next_time(
    engine: Engine, store_url: str, tmp_path: Path, vigour_csv: Path
) -> None:
    plant(engine)
    digseason = partial(run, tmp_path, database_url=store_url)
    assert digseason("patches", *BLOCK, vigour_csv, "--on", "2024-02-01")[0] == 0
    vigour_csv.write_text(table_of(slice(6, 10), slice(8, 26)), "utf-8")
    _, printed = digseason("patches", *BLOCK, vigour_csv, "--on", "2025-02-01", "--json")
    (patch,) = json.loads(printed[printed.index("[") : printed.rindex("]") + 1])
    # by hand: 4 rows of 12 vines before, of 18 now
    assert (patch["vines"], patch["grown_by"], patch["grown_since"]) == (72, 0.5, "2024-02-01")
    corners = [patch[name] for name in ("first_row", "last_row", "first_vine", "last_vine")]
    assert corners == [7, 10, 9, 26]
    assert [one["place"] for one in patch["dig"]].count("inside") == 4


def test_two_measures_of_one_day_are_no_growth(digseason, vigour_csv: Path) -> None:
    digseason("patches", *BLOCK, vigour_csv, "--on", "2025-02-01")
    text = vigour_csv.read_text("utf-8").replace("ndvi", "shoot_cm")
    vigour_csv.write_text(text, "utf-8")
    _, printed = digseason("patches", *BLOCK, vigour_csv, "--on", "2025-02-01", "--json")
    (patch,) = json.loads(printed[printed.index("[") : printed.rindex("]") + 1])
    assert (patch["grown_by"], patch["grown_since"]) == (None, None)


def test_what_was_measured_last_is_shown_again_and_fits_80_columns(
    digseason, vigour_csv: Path
) -> None:
    _, first = digseason("patches", *BLOCK, vigour_csv, "--on", "2025-02-01")
    code, again = digseason("patches", *BLOCK)
    assert code == 0
    assert again in first
    assert "ten empty holes are no answer" in " ".join(again.split())
    assert max(map(len, again.splitlines())) <= 80


def test_a_patch_is_set_aside_with_its_reason_and_taken_back(digseason, vigour_csv: Path) -> None:
    digseason("patches", *BLOCK, vigour_csv, "--on", "2025-02-01")
    why = "a drip line was cut"
    digseason("digs", "set-aside", *BLOCK, "--patch", 1, *PERSON, "--why", why)
    _, aside = digseason("patches", *BLOCK)
    assert f"set aside by Ada: {why}" in aside
    assert "Dig in this order" not in aside
    again, refused = digseason("digs", "set-aside", *BLOCK, "--patch", 1, *PERSON, "--why", why)
    assert (again, "is set aside already" in refused) == (2, True)
    digseason("digs", "take-back", *BLOCK, "--patch", 1, *PERSON)
    assert "Dig in this order" in digseason("patches", *BLOCK)[1]


def test_a_patch_that_has_outgrown_its_cause_comes_back(digseason, vigour_csv: Path) -> None:
    digseason("patches", *BLOCK, vigour_csv, "--on", "2024-02-01")
    digseason("digs", "set-aside", *BLOCK, "--patch", 1, *PERSON, "--why", "gravel")
    vigour_csv.write_text(table_of(slice(3, 12), slice(8, 22)), "utf-8")
    _, printed = digseason("patches", *BLOCK, vigour_csv, "--on", "2025-02-01")
    assert "gravel" not in printed


def test_a_survey_in_the_wrong_place_is_taken_away(digseason, vigour_csv: Path) -> None:
    for day in ("2024-02-01", "2025-02-01"):
        digseason("patches", *BLOCK, vigour_csv, "--on", day)
    code, said = digseason("digs", "drop-survey", *BLOCK, "--on", "2023-02-01")
    there = "there are: 2025-02-01 ndvi, 2024-02-01 ndvi"
    assert (code, there in " ".join(said.split())) == (2, True)
    digseason("digs", "drop-survey", *BLOCK, "--on", "2025-02-01", "--measure", "ndvi")
    assert "ndvi of 1 Feb 2024" in digseason("patches", *BLOCK)[1]
    digseason("digs", "drop-survey", *BLOCK, "--on", "2024-02-01")
    assert "no vigour of Terrace 7 was kept yet" in digseason("patches", *BLOCK)[1]


def test_bad_lines_are_told_each_by_its_reason_and_the_rest_counts(
    digseason, vigour_csv: Path
) -> None:
    good = vigour_csv.read_text("utf-8")
    vigour_csv.write_text(good + "3,x,0.4\n3,4,0.3\n3.5,4,1\n0,4,1\n5\n5,31,n/a\n", "utf-8")
    code, printed = digseason("patches", *BLOCK, vigour_csv, "--csv")
    assert code == 1
    lines = printed.splitlines()
    rows = [one for one in lines if one.startswith(("block,", "terrace-7,"))]
    (patch,) = csv.DictReader(io.StringIO("\n".join(rows)))
    assert len(patch["dig"].split()) == 12
    assert "600 values read, 0 missing, 6 rejected" in lines
    assert "  line 602: 'x' is no number for vine" in lines
    assert "  line 603: '3', '4' stands in line 65 already; which counts?" in lines
    assert "  line 604: '3.5' is no number of a row; write a whole one" in lines
    assert "  line 605: '0' as row is not within 1 to 20000" in lines
    assert "  line 606: fewer cells than the header has names" in lines
    assert "  line 607: 'n/a' is no number for ndvi" in lines


def test_metres_and_decimal_commas_give_the_same_patch(digseason, tmp_path: Path) -> None:
    by_vine = table_of(slice(6, 10), slice(8, 20))
    lines = ["x_m;y_m;shoot_cm;note"]
    for line in by_vine.splitlines()[1:]:
        row, vine, value = line.split(",")
        along, across = (int(vine) - 1) * 1.8, (int(row) - 1) * 3.0
        lines.append(f"{along:.1f};{across:.1f};{value};".replace(".", ","))
    path = tmp_path / "metres.csv"
    path.write_text("\n".join(lines), "utf-8")
    words = ("patches", *BLOCK, path, "--measure", "shoot_cm", "--csv")
    _, printed = digseason(*words)
    assert ",7,10,9,20,48,0.4" in printed


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("row,vine,a,b\n1,1,2,3\n", "--measure NAME names it; there are: a, b"),
        ("x,y,ndvi\n1,1,2\n", "the header is 'x,y,ndvi'; it needs the columns row and vine"),
        ("row,vine,ndvi\n1,a,2\n", "no line has a place and a value; the first: line 2: 'a'"),
        ("row,vine,ndvi\n1,1,-2\n1,2,-2\n", "mostly zero or below"),
        ("row,vine,ndvi\n1,1,2\n19000,1900,2\n", "look for a wrong number"),
    ],
)
def test_a_table_that_cannot_be_read_says_why(
    digseason, tmp_path: Path, text: str, problem: str
) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(text, "utf-8")
    code, printed = digseason("patches", *BLOCK, path)
    assert code == 2
    assert problem in " ".join(printed.split())


def test_a_block_without_spacing_says_which_keys_to_write(
    digseason, sqlite: Engine, vigour_csv: Path
) -> None:
    with writing(sqlite) as connection:
        connection.execute(update(tables.block).values(vine_spacing_m=None))
    code, printed = digseason("patches", *BLOCK, vigour_csv)
    assert code == 2
    assert "write row_spacing_m and vine_spacing_m in [[block]] terrace-7" in printed


def test_the_sample_is_the_invented_block_of_its_seed() -> None:
    vigour, _ = plant_vigour(13, patches=2, shape=(24, 40))
    assert SAMPLE.read_text("utf-8") == write_vigour(vigour)
