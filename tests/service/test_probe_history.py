"""Loggers swapped and probes buried anew: from farm file and logger files to root-zone days."""

from __future__ import annotations

import csv
import io
import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.commands import digseason, run
from tests.farms import farm_text

NEW_LOGGER = """
[[logger]]
id = "u2"
site = "upper"
layout = "plain"
"""
SWAPPED = """name = "Terrace 7"
probes = [
    "u1:30",
    { probe = "u2:30", valid_from = 2025-10-04 },
]
"""
MOVED = """layout = "plain"
probes = [
    { column = "T30", depth_cm = 30 },
    { column = "T30", depth_cm = 20, valid_from = 2025-10-02, calibration_offset_c = 0.5 },
]
"""


def write_farm(data: Path, text: str) -> Path:
    path = data / "farm.toml"
    path.write_text(text)
    return path


def write_days(data: Path, first: str, temps_c: list[float], header: str = "T30") -> Path:
    """Write a logger file of whole days, all hours of each and all columns alike."""
    start = datetime.fromisoformat(first)
    columns = header.count(",") + 1
    lines = [
        f"{start + timedelta(hours=hour + 1):%Y-%m-%d %H:%M}{f',{temps_c[hour // 24]}' * columns}"
        for hour in range(24 * len(temps_c))
    ]
    path = data / f"{first}.csv"
    path.write_text("\n".join([f"time,{header}", *lines, ""]))
    return path


def root_zone(data: Path, as_of: str) -> list[tuple[str, str, str]]:
    printed = digseason(data, "rootzone", "--block", "terrace-7", "--as-of", as_of, "--csv")
    rows = csv.DictReader(io.StringIO(printed))
    return [(row["day"], row["root_zone_c"], row["depths_cm"]) for row in rows]


def test_a_swap_of_loggers_keeps_the_past_and_goes_on_with_the_new_one(tmp_path: Path) -> None:
    farm = farm_text(depths_cm=[30], more=NEW_LOGGER)
    digseason(tmp_path, "setup", write_farm(tmp_path, farm.replace('name = "Terrace 7"', SWAPPED)))
    # the old one lies on a shelf from 4 October on, and the new one lay there until then
    digseason(
        tmp_path,
        "import",
        "--logger",
        "u1",
        write_days(tmp_path, "2025-10-01", [11, 12, 13, 30, 30]),
    )
    digseason(
        tmp_path, "import", "--logger", "u2", write_days(tmp_path, "2025-10-02", [30, 30, 14, 15])
    )
    assert root_zone(tmp_path, "2025-10-05") == [
        ("2025-10-01", "11.0", "30"),
        ("2025-10-02", "12.0", "30"),
        ("2025-10-03", "13.0", "30"),
        ("2025-10-04", "14.0", "30"),
        ("2025-10-05", "15.0", "30"),
    ]


def test_a_history_of_a_basis_is_exported_as_it_was_written(tmp_path: Path) -> None:
    farm = farm_text(depths_cm=[30], more=NEW_LOGGER)
    digseason(tmp_path, "setup", write_farm(tmp_path, farm.replace('name = "Terrace 7"', SWAPPED)))
    exported = digseason(tmp_path, "setup", "--export")
    again = digseason(tmp_path, "setup", write_farm(tmp_path, exported))
    assert 'probes = ["u1:30", { probe = "u2:30", valid_from = 2025-10-04 }]' in exported
    assert "Changed" not in again


def test_a_retired_logger_keeps_its_past_in_the_root_zone(tmp_path: Path) -> None:
    farm = farm_text(depths_cm=[30])
    digseason(tmp_path, "setup", write_farm(tmp_path, farm))
    digseason(tmp_path, "import", "--logger", "u1", write_days(tmp_path, "2025-10-01", [11, 12]))
    before = root_zone(tmp_path, "2025-10-02")
    without = farm.replace('[[logger]]\nid = "u1"', '[[logger]]\nid = "u2"')
    digseason(tmp_path, "setup", write_farm(tmp_path, without), "--retire")
    assert root_zone(tmp_path, "2025-10-02") == before
    assert before[-1] == ("2025-10-02", "12.0", "30")


def test_a_probe_buried_anew_is_at_its_new_depth_from_that_day_on(tmp_path: Path) -> None:
    farm = farm_text(depths_cm=[30])
    digseason(tmp_path, "setup", write_farm(tmp_path, farm))
    digseason(
        tmp_path, "import", "--logger", "u1", write_days(tmp_path, "2025-10-01", [11, 12, 13])
    )
    moved = farm.replace('layout = "plain"\n', MOVED)
    digseason(tmp_path, "setup", write_farm(tmp_path, moved))
    assert root_zone(tmp_path, "2025-10-03") == [
        ("2025-10-01", "11.0", "30"),
        ("2025-10-02", "12.5", "20"),
        ("2025-10-03", "13.5", "20"),
    ]


OLD_LOGGER = '[[logger]]\nid = "u1"\nsite = "upper"\nlayout = "plain"\n'


def test_a_logger_that_was_swapped_may_be_retired_and_keeps_its_time(tmp_path: Path) -> None:
    farm = farm_text(depths_cm=[30], more=NEW_LOGGER).replace('name = "Terrace 7"', SWAPPED)
    digseason(tmp_path, "setup", write_farm(tmp_path, farm))
    digseason(tmp_path, "import", "--logger", "u1", write_days(tmp_path, "2025-10-01", [11, 12]))
    digseason(tmp_path, "import", "--logger", "u2", write_days(tmp_path, "2025-10-04", [14]))
    before = root_zone(tmp_path, "2025-10-04")
    without = write_farm(tmp_path, farm.replace(OLD_LOGGER, ""))
    assert "1 logger: u1" in digseason(tmp_path, "setup", without, "--retire")
    assert root_zone(tmp_path, "2025-10-04") == before
    assert [(day, value_c) for day, value_c, _ in before] == [
        ("2025-10-01", "11.0"),
        ("2025-10-02", "12.0"),
        ("2025-10-03", ""),
        ("2025-10-04", "14.0"),
    ]
    exported = write_farm(tmp_path, digseason(tmp_path, "setup", "--export"))
    assert "Changed" not in digseason(tmp_path, "setup", exported)


def test_a_logger_that_a_block_rests_on_now_cannot_be_retired(tmp_path: Path) -> None:
    swapped_back = SWAPPED.replace("u1", "u3").replace("u2", "u1").replace("u3", "u2")
    farm = farm_text(depths_cm=[30], more=NEW_LOGGER).replace('name = "Terrace 7"', swapped_back)
    digseason(tmp_path, "setup", write_farm(tmp_path, farm))
    without = write_farm(tmp_path, farm.replace(OLD_LOGGER, ""))
    code, output = run(tmp_path, "setup", str(without), "--retire")
    assert (code, 'probes holds "u1:30": no such probe' in output) == (2, True)


def test_an_older_basis_of_a_logger_that_never_was_is_refused(tmp_path: Path) -> None:
    farm = farm_text(depths_cm=[30], more=NEW_LOGGER)
    wrong = SWAPPED.replace("u1:30", "u9:30")
    path = write_farm(tmp_path, farm.replace('name = "Terrace 7"', wrong))
    code, output = run(tmp_path, "setup", str(path))
    assert (code, 'probes holds "u9:30": no such probe' in output) == (2, True)


def test_what_a_retired_logger_brings_is_taken_and_said(tmp_path: Path) -> None:
    farm = farm_text(depths_cm=[30])
    digseason(tmp_path, "setup", write_farm(tmp_path, farm))
    without = farm.replace('[[logger]]\nid = "u1"', '[[logger]]\nid = "u2"')
    digseason(tmp_path, "setup", write_farm(tmp_path, without), "--retire")
    log = write_days(tmp_path, "2025-10-01", [11])
    printed = " ".join(digseason(tmp_path, "import", "--logger", "u1", log).split())
    assert "24 inserted" in printed
    assert "u1 was retired on" in printed
    (note,) = json.loads(digseason(tmp_path, "import", "--logger", "u1", "--json", log))["notes"]
    assert "counts up to that day" in note


ENDED = 'layout = "plain"\nprobes = [{ column = "T30", depth_cm = 30, until = 2025-10-03 }]\n'


@pytest.mark.parametrize("columns", [[15, 30], [15]], ids=["still in the files", "gone from them"])
def test_a_probe_that_was_taken_out_counts_until_then_and_is_needed_no_more(
    tmp_path: Path, columns: list[float]
) -> None:
    digseason(tmp_path, "setup", write_farm(tmp_path, farm_text(depths_cm=[15, 30])))
    log = write_days(tmp_path, "2025-10-01", [11, 12, 30], "T15,T30")
    digseason(tmp_path, "import", "--logger", "u1", log)
    ended = farm_text(depths_cm=columns).replace('layout = "plain"\n', ENDED, 1)
    digseason(tmp_path, "setup", write_farm(tmp_path, ended))
    assert root_zone(tmp_path, "2025-10-03") == [
        ("2025-10-01", "11.0", "15 30"),
        ("2025-10-02", "12.0", "15 30"),
        ("2025-10-03", "30.0", "15"),
    ]
    rows = digseason(tmp_path, "readings", "--logger", "u1", "--csv").splitlines()
    assert rows[2] == "2025-09-30T15:00:00Z,30,11.0,1"
    assert rows[-1].startswith("2025-10-03T14:00:00Z,,30.0,")
    exported = digseason(tmp_path, "setup", "--export")
    assert "until = 2025-10-03" in exported
    assert "Changed" not in digseason(tmp_path, "setup", write_farm(tmp_path, exported))


def test_a_column_that_leaves_its_layout_keeps_its_past(tmp_path: Path) -> None:
    digseason(tmp_path, "setup", write_farm(tmp_path, farm_text(depths_cm=[15, 30])))
    log = write_days(tmp_path, "2025-10-01", [11, 12], "T15,T30")
    digseason(tmp_path, "import", "--logger", "u1", log)
    before = root_zone(tmp_path, "2025-10-02")
    digseason(tmp_path, "setup", write_farm(tmp_path, farm_text(depths_cm=[15, 45])))
    after = root_zone(tmp_path, "2025-10-02")
    assert [depths for *_, depths in after] == ["15 30 45"] * 2  # 45 cm may still be imported
    digseason(tmp_path, "setup", write_farm(tmp_path, farm_text(depths_cm=[15])))
    assert root_zone(tmp_path, "2025-10-02") == before
