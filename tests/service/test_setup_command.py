"""digseason setup, as it is run: what it prints, and how it ends."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from service.cli import main
from tests import farms


def run(data: Path, *arguments: str) -> tuple[int, str, str]:
    """Run digseason with a data folder; return exit code, standard output and error."""
    result = CliRunner().invoke(main, ["--data", str(data), *arguments], catch_exceptions=False)
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A data folder with a farm of two blocks."""
    (tmp_path / "two.toml").write_text(farms.TWO_BLOCKS)
    (tmp_path / "one.toml").write_text(farms.ONE_OF_TWO)
    run(tmp_path / "data", "setup", str(tmp_path / "two.toml"))
    return tmp_path / "data"


def test_the_command_says_where_days_begin_and_what_was_added(tmp_path):
    (tmp_path / "farm.toml").write_text(farms.farm_text())

    assert run(tmp_path / "data", "setup", str(tmp_path / "farm.toml")) == (
        0,
        "Upper Merrin: day begins at midnight UTC+10:00 (standard time of\n"
        "    Australia/Sydney, all year)\n"
        "Added\n"
        "  1 organisation\n"
        "  1 district: merrin\n"
        "  1 site: upper\n"
        "  1 block: terrace-7\n"
        "  1 layout: plain\n"
        "  1 logger: u1\n"
        "  1 recipient: Ada Example\n",
        "",
    )


def test_the_command_ends_with_1_while_something_is_left_out_and_active(data):
    assert run(data, "setup", str(data.parent / "one.toml")) == (
        1,
        "Upper Merrin: day begins at midnight UTC+10:00 (standard time of\n"
        "    Australia/Sydney, all year)\n"
        "Unchanged: 7\n"
        "Missing from the file and still active\n"
        "  1 block: ledge\n"
        "Put it back, or run again with --retire.\n",
        "",
    )


def test_the_command_retires_and_ends_with_0(data):
    code, out, _ = run(data, "setup", str(data.parent / "one.toml"), "--retire")

    assert (code, out.splitlines()[2:]) == (0, ["Retired", "  1 block: ledge", "Unchanged: 7"])


def test_the_command_tells_an_edit_within_80_columns(data):
    edited = farms.TWO_BLOCKS.replace('clock = "UTC+10:00"', 'clock = "Australia/Sydney"')
    (data.parent / "two.toml").write_text(edited.replace("720", '720\nutc_offset = "UTC+11:00"'))
    _, out, _ = run(data, "setup", str(data.parent / "two.toml"))

    assert out == (
        "Upper Merrin: day begins at midnight UTC+11:00 (all year, as the farm file says;\n"
        "    Australia/Sydney has UTC+10:00)\n"
        "Changed\n"
        "  site upper\n"
        '    utc_offset: "UTC+10:00" -> "UTC+11:00"\n'
        "  layout plain\n"
        '    clock: "UTC+10:00" -> "Australia/Sydney" (files already imported keep the\n'
        "        old clock, until `digseason imports reread`)\n"
        "Unchanged: 6\n"
    )


def test_a_wrong_file_ends_with_2_and_writes_nothing(tmp_path):
    path = tmp_path / "farm.toml"
    path.write_text(farms.farm_text().replace("-33.4", "133"))

    assert run(tmp_path / "data", "setup", str(path)) == (
        2,
        "",
        f"{path}: 1 to correct, nothing was written\n"
        '[[site]] "upper": latitude = 133: must be at most 90; write latitude = -33.4\n',
    )
    assert not (tmp_path / "data").exists()


def test_the_command_exports_a_file_that_it_reads_again(data):
    code, out, _ = run(data, "setup", "--export")
    (data.parent / "again.toml").write_text(out)

    assert code == 0
    assert "Unchanged: 8\n" in run(data, "setup", str(data.parent / "again.toml"))[1]


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        ([], "give either a farm file or --export"),
        (["--export", "--retire"], "give either a farm file or --export"),
        (["--export"], "nothing is set up yet; give a farm file"),
        (["none.toml"], "'none.toml' does not exist"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_wrong_use_ends_with_2_and_the_reason(tmp_path, arguments, reason):
    code, _, err = run(tmp_path / "data", "setup", *arguments)

    assert code == 2
    assert reason in err
