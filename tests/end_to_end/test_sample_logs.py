"""The sample logs: made anew byte for byte, and imported with exactly what is declared wrong."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections import Counter
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from service.cli import main

LOGS = Path(__file__).parents[2] / "sample_logs"
LOGGERS = ("SM-1", "SM-2", "DT-1", "DT-2", "KC-1", "KC-2")
DEPTHS = 3
COUNTS = ("inserted", "identical", "conflicting", "rejected", "missing")

# by hand: the days of a month times the rows a day, and the lines added to them, three readings
# each; what sample_logs/README.md says is damaged, three readings a row and one a cell
TWINS = {  # file: lines, readings rejected, readings conflicting
    "SM-1_2024-25.csv": (30 * 12, 4, 0),
    "SM-1_2025-26.csv": (31 * 12, 9, 0),
    "SM-2_2024-25.csv": (30 * 12 + 2, 6, 0),
    "SM-2_2025-26.csv": (28 * 12, 7, 0),
    "DT-1_2024-25.txt": (30 * 24, 9, 3),
    "DT-1_2025-26.txt": (28 * 24, 12, 0),
    "DT-2_2024-25.txt": (31 * 24 + 3, 9, 0),
    "DT-2_2025-26.txt": (31 * 24, 6, 0),
    "KC-1_2024-25.tsv": (31 * 8, 9, 0),
    "KC-1_2025-26.tsv": (30 * 8, 9, 0),
    "KC-2_2024-25.tsv": (31 * 8, 6, 0),
    "KC-2_2025-26.tsv": (31 * 8 + 1, 13, 0),
}

Imported = tuple[Path, Mapping[str, dict[str, Any]]]
"""A data folder, and what the imports into it said."""


def digseason(data: Path, *arguments: object, exit_code: int = 0) -> str:
    result = CliRunner().invoke(main, ["--data", str(data), *map(str, arguments)])
    assert result.exit_code == exit_code, result.output
    return result.stdout


def import_files(data: Path, logger: str, paths: Iterable[Path], exit_code: int) -> dict[str, Any]:
    arguments = ("import", "--logger", logger, "--json", *paths)
    return json.loads(digseason(data, *arguments, exit_code=exit_code))


def readings(data: Path, logger: str) -> set[str]:
    return set(digseason(data, "readings", "--logger", logger, "--csv").splitlines())


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Imported:
    """The sample logs, by logger."""
    data = tmp_path_factory.mktemp("whole")
    digseason(data, "setup", LOGS / "farm.toml")
    reports = {
        logger: import_files(data, logger, sorted(LOGS.glob(f"{logger}_*")), logger[:2] == "DT")
        for logger in LOGGERS
    }
    return data, reports


@pytest.fixture(scope="module")
def damaged(tmp_path_factory: pytest.TempPathFactory) -> Imported:
    """The damaged twins, by file."""
    data = tmp_path_factory.mktemp("damaged")
    digseason(data, "setup", LOGS / "farm.toml")
    twins = LOGS / "damaged"
    return data, {name: import_files(data, name[:4], [twins / name], 1) for name in TWINS}


def test_the_script_writes_the_committed_files_again(tmp_path: Path) -> None:
    for script in LOGS.glob("*.py"):
        shutil.copy(script, tmp_path)
    subprocess.run([sys.executable, tmp_path / "make.py"], check=True)  # noqa: S603 (ours)
    written = {path.relative_to(tmp_path): path.read_bytes() for path in tmp_path.rglob("*_20*")}
    kept = {path.relative_to(LOGS): path.read_bytes() for path in LOGS.rglob("*_20*")}
    assert written.keys() == kept.keys()
    assert [path for path in kept if written[path] != kept[path]] == []


def test_of_the_sample_logs_only_the_hour_that_happens_twice_is_rejected(
    whole: Imported,
) -> None:
    _, reports = whole
    rejects = Counter(
        (Path(reject["file"]).name, reject["text"][:16])
        for report in reports.values()
        for reject in report["rejects"]
    )
    # source: summer time ends on the first Sunday of April in New South Wales (from memory)
    assert rejects == {
        ("DT-1_2024-25.txt", "06/04/2025;02:00"): 2,
        ("DT-1_2025-26.txt", "05/04/2026;02:00"): 2,
        ("DT-2_2024-25.txt", "06/04/2025;02:00"): 2,
        ("DT-2_2025-26.txt", "05/04/2026;02:00"): 2,
    }


@pytest.mark.parametrize("logger", LOGGERS)
def test_every_cell_of_the_sample_logs_is_counted(logger: str, whole: Imported) -> None:
    _, reports = whole
    header = 4 if logger[:2] == "DT" else 1
    lines = sum(len(path.read_bytes().splitlines()) for path in LOGS.glob(f"{logger}_*"))
    assert sum(reports[logger][name] for name in COUNTS) == (lines - 2 * header) * DEPTHS
    assert reports[logger]["rejected"] == (4 * DEPTHS if logger[:2] == "DT" else 0)
    assert reports[logger]["conflicting"] + reports[logger]["identical"] == 0


@pytest.mark.parametrize("name", TWINS)
def test_a_damaged_twin_loses_what_is_damaged_and_no_more(name: str, damaged: Imported) -> None:
    report = damaged[1][name]
    lines, rejected, conflicting = TWINS[name]
    assert report["rejected"] == rejected
    assert report["conflicting"] == conflicting
    assert report["identical"] == 0
    assert sum(report[count] for count in COUNTS) == lines * DEPTHS


@pytest.mark.parametrize("logger", LOGGERS)
def test_what_a_damaged_twin_brings_in_is_what_the_whole_file_brings_in(
    logger: str,
    whole: Imported,
    damaged: Imported,
) -> None:
    from_twins = readings(damaged[0], logger)
    inserted = sum(damaged[1][name]["inserted"] for name in TWINS if name[:4] == logger)
    assert len(from_twins) == inserted + 1  # and the header
    assert from_twins - readings(whole[0], logger) == set()
