"""digseason import: counts, rejects, exit codes."""

from __future__ import annotations

import contextlib
import json
import os
import pty
import shutil
import subprocess
from pathlib import Path

import pytest

from tests import processes
from tests.commands import run
from tests.farms import farm_text
from tests.imported import LOGGER, row, write_lines, write_log

GOOD = {1: (14.0, 15.0), 2: (14.5, 15.5)}


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a farm file, and with a data folder that the farm is set up in."""
    folder = tmp_path_factory.mktemp("prepared")
    farm = folder / "farm.toml"
    farm.write_text(farm_text(depths_cm=(15, 30)))
    assert run(folder / "data", "setup", farm)[0] == 0
    return folder


@pytest.fixture
def data(prepared: Path, tmp_path: Path) -> Path:
    """A copy of the data folder."""
    return shutil.copytree(prepared / "data", tmp_path / "data")


@pytest.fixture
def good(tmp_path: Path) -> Path:
    return write_log(tmp_path / "good.csv", GOOD)


@pytest.fixture
def damaged(tmp_path: Path) -> Path:
    lines = ["yesterday,1,2", row(1, (14.0, 19.0)), row(3, (13.0, None))]
    return write_lines(tmp_path / "damaged.csv", lines)


def import_json(data: Path, *words: str | Path) -> tuple[int, dict]:
    code, output = run(data, "import", "--logger", LOGGER, "--json", *map(str, words))
    return code, json.loads(output)


def test_a_good_file_ends_with_0_and_its_counts(data: Path, good: Path) -> None:
    assert import_json(data, good) == (
        0,
        {
            "inserted": 4,
            "identical": 0,
            "conflicting": 0,
            "rejected": 0,
            "missing": 0,
            "rejects": [],
            "signs": [],
            "notes": [],
        },
    )


def test_files_are_reported_together_in_one_object(data: Path, good: Path, damaged: Path) -> None:
    code, report = import_json(data, good, damaged)
    (reject,) = report.pop("rejects")
    assert code == 1
    # by hand: of damaged.csv 14.0 is identical, 19.0 conflicts, 13.0 is new, one cell is empty
    assert report == {
        "inserted": 5,
        "identical": 1,
        "conflicting": 1,
        "rejected": 2,
        "missing": 1,
        "signs": [],
        "notes": [],
    }
    assert (reject["file"], reject["line"]) == (str(damaged), 2)
    assert reject["text"] == "yesterday,1,2"
    assert "%Y-%m-%d %H:%M" in reject["reason"]


def test_a_second_import_inserts_nothing_and_ends_with_0(data: Path, good: Path) -> None:
    import_json(data, good)
    code, report = import_json(data, good)
    assert (code, report["inserted"], report["identical"]) == (0, 0, 4)


def test_a_refused_file_is_listed_and_the_others_are_imported(
    data: Path, good: Path, tmp_path: Path
) -> None:
    empty = tmp_path / "empty.csv"
    empty.touch()
    code, report = import_json(data, empty, good)
    assert (code, report["inserted"]) == (1, 4)
    (reject,) = report["rejects"]
    assert (reject["file"], reject["line"]) == (str(empty), None)
    assert "empty" in reject["reason"]


def test_a_conflict_alone_ends_with_1(data: Path, good: Path, tmp_path: Path) -> None:
    import_json(data, good)
    code, report = import_json(data, write_log(tmp_path / "other.csv", {1: (14.0, 19.0)}))
    assert (code, report["conflicting"], report["rejects"]) == (1, 1, [])


def test_a_dry_run_reports_and_writes_nothing(data: Path, good: Path) -> None:
    code, report = import_json(data, "--dry-run", good)
    again = import_json(data, good)
    assert (code, report["inserted"], again[1]["inserted"]) == (0, 4, 4)


def test_an_unknown_logger_is_wrong_use_and_says_which_there_are(data: Path, good: Path) -> None:
    code, output = run(data, "import", "--logger", "u7", str(good))
    assert code == 2
    assert f"no logger 'u7'; there are: {LOGGER}" in output


def test_a_file_that_is_not_there_is_wrong_use_and_nothing_is_imported(
    data: Path, good: Path
) -> None:
    code, output = run(data, "import", "--logger", LOGGER, str(good), "no-such.csv")
    assert code == 2
    assert "no-such.csv" in output
    assert import_json(data, good)[1]["inserted"] == 4


def test_people_read_lines_of_80_characters_that_say_all(
    data: Path, good: Path, damaged: Path
) -> None:
    code, output = run(data, "import", "--logger", LOGGER, str(good), str(damaged))
    assert code == 1
    assert max(map(len, output.splitlines())) <= 80
    words = " ".join(output.split())
    assert "good.csv: 4 inserted" in words
    assert "damaged.csv: 1 inserted, 1 identical, 1 conflicting, 2 rejected, 1 missing" in words
    assert "Readings inserted 5 identical 1 conflicting 1 rejected 2 missing 1" in words
    assert "yesterday,1,2" in words
    assert "T30, 2025-09-30 15:00 UTC: 15 °C, not 19 °C" in words


def test_what_many_lines_have_in_common_is_said_once(data: Path, tmp_path: Path) -> None:
    lines = [f"yesterday {number},1,2" for number in range(1, 31)]
    path = write_lines(tmp_path / "log.csv", [*lines, "2025-10-01 12:00,a,b"])
    code, output = run(data, "import", "--logger", LOGGER, str(path))
    assert code == 1
    assert "yesterday 1,1,2" in output
    assert "yesterday 2,1,2" not in output
    assert "so too 29 more, lines 3 to 31: --json lists all" in output
    assert "line 32: 'a' in column 'T15' is no number" in " ".join(output.split())


@pytest.mark.parametrize("store_url", ["postgresql"], indirect=True)
def test_the_store_may_be_a_postgresql(
    data: Path, good: Path, store_url: str, prepared: Path
) -> None:
    processes.run(data, "setup", str(prepared / "farm.toml"), database_url=store_url)
    words = ("import", "--logger", LOGGER, "--json", str(good))
    code, output = processes.run(data, *words, database_url=store_url)
    assert (code, json.loads(output)["inserted"]) == (0, 4)


def import_on_a_terminal(data: Path, path: Path) -> bytes:
    """Import a file with a terminal as standard error; return what stands there."""
    ours, theirs = pty.openpty()
    words = [*processes.COMMAND, "--data", str(data), "import", "--logger", LOGGER, str(path)]
    process = subprocess.Popen(  # noqa: S603 (our own command)
        words, stdout=subprocess.DEVNULL, stderr=theirs
    )
    os.close(theirs)
    shown = b""
    # a terminal takes only a few kB that no one reads; it ends with an error once all have left it
    with contextlib.suppress(OSError), os.fdopen(ours, "rb", buffering=0) as terminal:
        while part := terminal.read(4096):
            shown += part
    assert process.wait() == 0
    return shown


def test_a_long_file_shows_how_far_it_is(data: Path, tmp_path: Path) -> None:
    long = write_log(tmp_path / "long.csv", dict.fromkeys(range(-200_000, 0), (14.0, 15.0)))
    assert b"%" in import_on_a_terminal(data, long)


def test_a_short_file_shows_no_bar(data: Path, good: Path) -> None:
    assert import_on_a_terminal(data, good) == b""


def test_what_a_terminal_would_obey_is_shown_and_not_sent_to_it(data: Path, tmp_path: Path) -> None:
    obeyed = write_lines(tmp_path / "obeyed.csv", ["\x1b[2Jyesterday\x9b1m,1,2", row(1, (14, 15))])
    _, output = run(data, "import", "--logger", LOGGER, str(obeyed))
    assert "␛[2Jyesterday\N{REPLACEMENT CHARACTER}1m" in output
    assert not {"\x1b", "\x9b"} & set(output)


def test_the_inbox_tells_in_80_columns(
    data: Path, damaged: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DIGSEASON_INBOX_SETTLED_S", "0")
    folder = data / "inbox" / LOGGER
    folder.mkdir(parents=True, exist_ok=True)
    run(data, "import", "--logger", LOGGER, str(damaged))
    damaged.rename(folder / damaged.name)
    code, output = run(data, "inbox")
    assert code == 1
    assert "in already, by import 1 of " in output
    assert max(map(len, output.splitlines())) <= 80


def test_the_inbox_reads_again_what_was_written_to_since_it_was_last_asked_to(
    data: Path, good: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DIGSEASON_INBOX_SETTLED_S", "0")
    folder = data / "inbox" / LOGGER
    folder.mkdir(parents=True)
    good.rename(folder / good.name)
    with (folder / good.name).open("a") as file:
        assert run(data, "inbox")[0] == 0
        file.write(f"{row(3, (15.0, 16.0))}\n")
    code, output = run(data, "inbox")
    assert (code, output.splitlines()[:2]) == (0, ["u1/good.csv: done", "  inserted             2"])
    assert run(data, "inbox") == (0, f"nothing waits in {data / 'inbox'}\n")
