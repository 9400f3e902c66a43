"""DEVELOPERS.md is true: every room is on its map, and every path and test it names exists."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").replace("\\", "")
PATHS = re.findall(r"\b(?:service|probes|alerts|tests|deploy)/[\w/.]*\w/?", GUIDE)


@pytest.mark.parametrize(
    "package",
    [
        *("probes", "alerts", "alerts/dig"),
        *("service", "service/charts", "service/dig", "service/farm", "service/intake"),
        *("service/store", "service/web", "service/web/api"),
    ],
)
def test_the_map_shows_every_room_of(package: str) -> None:
    section = GUIDE.split(f"### {package}:")[1].split("\n##")[0]
    _, *shown = re.findall(r"^\| ([\w/.]+) \|", section, re.MULTILINE)
    rooms = {
        path.name + ("/" if path.is_dir() else "")
        for path in (ROOT / package).iterdir()
        if path.suffix == ".py" or path.is_dir()
    }
    assert sorted(shown) == sorted(rooms - {"__init__.py", "__pycache__/"})


def test_each_path_of_the_guide_leads_somewhere() -> None:
    assert len(PATHS) > 50
    assert [path for path in PATHS if not (ROOT / path).exists()] == []


HARM = GUIDE.split("## Who might do harm")[1].split("\n## ")[0]
_, _, *THREATS = re.findall(r"^\|(.*)\|$", HARM, re.MULTILINE)


def test_each_threat_is_met_by_tests_that_are_there() -> None:
    sources = (path.read_text("utf-8") for path in (ROOT / "tests").rglob("test_*.py"))
    there = {name for source in sources for name in re.findall(r"def (test_\w+)\(", source)}
    named = {threat: set(re.findall(r"\w+", threat.split("|")[-1])) for threat in THREATS}
    assert {threat: names - there for threat, names in named.items() if not names <= there} == {}
    assert [threat for threat, names in named.items() if not names] == []
