"""digseason checks: which readings are flagged, why, and a person's word over that."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tests.commands import digseason, run
from tests.farms import farm_text

OVERRULE = (
    *("checks", "overrule", "good", "--logger", "u1", "--depth", "30"),
    *("--since", "2025-10-03T10:00+10:00", "--until", "2025-10-03T12:00+10:00"),
    *("--note", "a kettle of tea", "--by", "Ada Example"),
)


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with four days of two depths; at 30 cm one hour reads 40 °C."""
    folder = tmp_path_factory.mktemp("prepared")
    farm, log = folder / "farm.toml", folder / "log.csv"
    farm.write_text(farm_text(depths_cm=[15, 30]))
    rows = []
    for hour in range(1, 24 * 4):
        day, of_day = divmod(hour, 24)
        t30 = 40.0 if (day, of_day) == (2, 11) else 15 + of_day / 24
        rows.append(f"2025-10-0{1 + day} {of_day:02}:00,{16 + of_day / 10:.2f},{t30:.2f}")
    log.write_text("\n".join(["time,T15,T30", *rows, ""]))
    digseason(folder, "setup", farm)
    digseason(folder, "import", "--logger", "u1", log)
    return folder


@pytest.fixture
def data(prepared: Path, tmp_path: Path) -> Path:
    """A copy of it."""
    return shutil.copytree(prepared, tmp_path / "data")


def test_flagged_readings_of_one_cause_are_one_row(data: Path) -> None:
    spans = json.loads(digseason(data, "checks", "--json"))
    # by hand: 40 °C rose 24.5 °C within the hour, and fell as much
    assert [(one["channel"], one["first_at"], one["readings"], one["flag"]) for one in spans] == [
        ("T30", "2025-10-03T01:00:00Z", 1, 4)
    ]
    assert spans[0]["tests"] == "spike rate_of_change"
    printed = digseason(data, "checks")
    assert "fail: spike, rate of change" in printed
    assert max(map(len, printed.splitlines())) <= 80


def test_a_span_without_a_flagged_reading_says_so(data: Path) -> None:
    printed = digseason(data, "checks", "--logger", "u1", "--since", "2025-10-04T00:00Z")
    assert printed == "No reading is suspect or fails.\n"


def test_a_reading_is_explained_test_by_test(data: Path) -> None:
    words = ("checks", "--logger", "u1", "--depth", "30", "--at", "2025-10-03T11:00+10:00")
    tests = {one["test"]: one for one in json.loads(digseason(data, *words, "--json"))}
    assert tests["spike"]["result"] == "fail"
    # by hand: 40 less 15.42 an hour before; 8 °C an hour fall to 1.30 at 30 cm (16.5 cm to 1/e)
    assert "rose 24.6 °C within 1 h; at 30 cm 2.3 °C is the limit" in tests["rate_of_change"]["why"]
    assert (tests["gross_range"]["result"], tests["gross_range"]["why"]) == ("good", "")
    printed = digseason(data, *words)
    assert printed.startswith("u1 T30, 2025-10-03T01:00:00Z: 40 °C, fail\n")
    assert max(map(len, printed.splitlines())) <= 80


def test_a_time_without_reading_is_refused_with_what_lists_them(data: Path) -> None:
    code, output = run(data, "checks", "--logger", "u1", "--at", "2025-10-03T11:30+10:00")
    assert code == 2
    assert "u1 has no reading at 2025-10-03T01:30:00Z" in output


def test_a_word_is_kept_shown_and_withdrawn(data: Path) -> None:
    assert digseason(data, *OVERRULE) == "overrule 1: the readings are good\n"
    assert digseason(data, "checks") == "No reading is suspect or fails.\n"
    words = ("checks", "--logger", "u1", "--depth", "30", "--at", "2025-10-03T11:00+10:00")
    explained = digseason(data, *words)
    assert "overruled: good: no. 1 by Ada Example: a kettle of tea" in explained
    assert "spike: fail" in explained
    digseason(data, "checks", "withdraw", "1", "--by", "Ben Example", "--why", "another day")
    (listed,) = json.loads(digseason(data, "checks", "overrules", "--json"))
    assert (listed["number"], listed["person"], listed["flag"]) == (1, "Ada Example", 1)
    assert listed["withdrawn_at"] is not None
    assert (listed["withdrawn_by"], listed["withdrawn_why"]) == ("Ben Example", "another day")
    assert " by Ben Example: another day\n" in digseason(data, "checks", "overrules")
    assert "fail: spike" in digseason(data, "checks")


@pytest.mark.parametrize(
    ("words", "remedy"),
    [
        (("checks", "--depth", "30"), "say whose readings: --logger ID"),
        (("checks", "--logger", "u9"), "there are: u1"),
        (("checks", "--logger", "u1", "--depth", "45"), "there are: 15, 30"),
        (("checks", "withdraw", "7", "--by", "Ada"), "Missing option '--why'"),
        (
            ("checks", "withdraw", "7", "--by", "Ada", "--why", "-"),
            "no overrule 7 stands; those that do: none",
        ),
    ],
)
def test_wrong_use_says_what_there_is(data: Path, words: tuple[str, ...], remedy: str) -> None:
    code, output = run(data, *words)
    assert (code, remedy in " ".join(output.split())) == (2, True)


def test_every_threshold_is_printed_with_its_source(data: Path) -> None:
    thresholds = json.loads(digseason(data, "checks", "--thresholds", "--json"))
    found = {one["threshold"]: one for one in thresholds}
    assert (found["spike.damping_cm"]["source"], found["spike.suspect_c"]["source"]) == (
        "[MOENE-2014]",
        "ours",
    )
    assert all(one["source"] and one["meaning"] for one in thresholds)
    printed = digseason(data, "checks", "--thresholds")
    assert max(map(len, printed.splitlines())) <= 80
