"""DEVELOPERS.md is true: every room is on its map, and every path and test it names exists."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").replace("\\", "")
PATHS = re.findall(r"\b(?:service|probes|alerts|tests|deploy)/[\w/.]*\w/?", GUIDE)


@pytest.mark.parametrize(
    "package", ["probes", "alerts", "alerts/dig", "service", "service/intake", "service/web"]
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


@pytest.mark.parametrize("path", sorted(set(PATHS)))
def test_a_path_of_the_guide_leads_somewhere(path: str) -> None:
    assert (ROOT / path).exists()


HARM = GUIDE.split("## Who might do harm")[1].split("\n## ")[0]
_, _, *THREATS = re.findall(r"^\|(.*)\|$", HARM, re.MULTILINE)
TESTS = "".join(path.read_text("utf-8") for path in (ROOT / "tests").rglob("test_*.py"))


@pytest.mark.parametrize("threat", THREATS)
def test_a_threat_is_met_by_tests_that_are_there(threat: str) -> None:
    *_, shown = threat.split("|")
    named = re.findall(r"\w+", shown)
    there = [name for name in named if f"def {name}(" in TESTS and name.startswith("test_")]
    assert there == named != []
