"""digseason imports, as a person meets it."""

from __future__ import annotations

import csv
import io
import json
import shutil
from pathlib import Path

import pytest

from tests.commands import digseason, run
from tests.farms import farm_text
from tests.imported import row, write_lines, write_log

LONG = "a name of a file that is far too long for one line of a terminal and goes on.csv"


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with two imports that differ at one hour, the second with a reject."""
    folder = tmp_path_factory.mktemp("prepared")
    farm, data = folder / "farm.toml", folder / "data"
    farm.write_text(farm_text(depths_cm=(15, 30)))
    digseason(data, "setup", farm)
    one = write_log(folder / "one.csv", {1: (14.0, 15.0), 2: (14.0, 15.0)})
    two = write_lines(folder / LONG, [row(2, (14.0, 19.0)), "yesterday,1,2"])
    digseason(data, "import", "--logger", "u1", one)
    run(data, "import", "--logger", "u1", str(two))
    return data


@pytest.fixture
def data(prepared: Path, tmp_path: Path) -> Path:
    """A copy of it."""
    return shutil.copytree(prepared, tmp_path / "data")


def test_the_list_tells_what_came_and_what_was_withdrawn_in_80_columns(data: Path) -> None:
    digseason(data, "imports", "withdraw", 1, "--by", "Ada Example", "--why", "of another block")
    printed = digseason(data, "imports")
    assert max(map(len, printed.splitlines())) <= 80
    words = " ".join(printed.split())
    assert "file one.csv 4 inserted; 2025-09-30 to 2025-09-30 withdrawn" in words
    assert "by Ada Example: of another block" in words
    assert "2 inserted, 2 rejected; 2025-09-30 to 2025-09-30" in words


def test_the_list_as_json_and_as_csv_holds_the_same(data: Path) -> None:
    records = json.loads(digseason(data, "imports", "--logger", "u1", "--json"))
    rows = list(csv.DictReader(io.StringIO(digseason(data, "imports", "--csv"))))
    assert [(one["number"], one["inserted"], one["conflicting"]) for one in records] == [
        (1, 4, 0),
        (2, 0, 1),
    ]
    assert [one["first_at"] for one in rows] == [one["first_at"] for one in records]
    assert records[1]["first_at"] == "2025-09-30T16:00:00Z"  # by hand: 02:00 at UTC+10:00


def test_an_import_is_shown_with_its_rejects_and_conflicts(data: Path) -> None:
    printed = digseason(data, "imports", "show", 2)
    assert max(map(len, printed.splitlines())) <= 80
    words = " ".join(printed.split())
    assert "line 3: " in words
    assert "yesterday,1,2" in words
    kept = "T30, 2025-09-30 16:00 UTC: 15 °C of import 1 is kept, not 19 °C of import 2"
    assert kept in words
    shown = json.loads(digseason(data, "imports", "show", 2, "--json"))
    assert [one["line"] for one in shown["rejects"]] == [3]
    assert [one["other_c"] for one in shown["conflicts"]] == [19.0]


def test_conflicts_are_settled_and_unsettled_by_command(data: Path) -> None:
    word = ("--logger", "u1", "--import", 2)
    said = digseason(data, "imports", "settle", *word, "--by", "Ada Example")
    assert said.startswith("1 reading is settled\nReadings: 1 changed.")
    (one,) = csv.DictReader(io.StringIO(digseason(data, "imports", "conflicts", "--csv")))
    assert (one["kept_c"], one["settled_by"]) == ("19.0", "Ada Example")
    digseason(data, "imports", "unsettle", *word)
    (one,) = json.loads(digseason(data, "imports", "conflicts", "--logger", "u1", "--json"))
    assert (one["kept_c"], one["settled_by"]) == (15.0, None)


def test_a_dry_run_of_reading_again_changes_nothing(data: Path, tmp_path: Path) -> None:
    farm = tmp_path / "farm.toml"
    farm.write_text(farm_text(depths_cm=(15, 30), unit="F"))
    printed = digseason(data, "setup", farm)
    assert "digseason imports reread" in " ".join(printed.split())
    before = digseason(data, "readings", "--logger", "u1", "--csv")
    dry = digseason(data, "imports", "reread", "--logger", "u1", "--dry-run")
    assert "4 changed" in dry
    assert digseason(data, "readings", "--logger", "u1", "--csv") == before
    digseason(data, "imports", "reread", 1, 2)
    assert digseason(data, "readings", "--logger", "u1", "--csv") != before


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("show", "9"), "no import 9"),
        (("withdraw", "9", "--by", "Ada", "--why", "x"), "no import 9"),
        (("withdraw", "1", "--by", " ", "--why", "x"), "visible character"),
        (("withdraw", "1", "--by", "Ada"), "--why"),
        (("restore", "1"), "not withdrawn"),
        (("reread",), "either imports or a --logger"),
        (("reread", "--logger", "u9"), "no logger 'u9'"),
        (("reread", "1", "9"), "no import 9"),
        (("settle", "--logger", "u1", "--by", "Ada", "--channel", "T1"), "no such conflict"),
        (("--logger", "u9"), "no logger 'u9'"),
    ],
)
def test_wrong_use_ends_with_2_and_says_why(data: Path, words: tuple[str, ...], says: str) -> None:
    code, output = run(data, "imports", *words)
    assert (code, says in output) == (2, True), output
