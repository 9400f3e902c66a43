"""Each dependency has a reason and is used; what is used is a dependency; known holes are told."""

from __future__ import annotations

import json
import re
import runpy
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.test_layout_of_the_house import read_sources

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "pyproject.toml").read_text("utf-8")
PROJECT = tomllib.loads(TEXT)["project"]
OPTIONAL = [one for of_group in PROJECT["optional-dependencies"].values() for one in of_group]
USED_BY_OTHERS = {
    "fontpkg-fira-sans": "fontpkg finds it",
    "psycopg": "sqlalchemy loads it",
    "python-multipart": "fastapi loads it",
    "tzdata": "zoneinfo reads it",
}
COMES_WITH = {  # what is imported, though another dependency brings it
    "anyio": "fastapi",
    "dask": "distributed",
    "fontpkg": "fontpkg-fira-sans",
    "joserfc": "authlib",
    "markupsafe": "jinja2",
    "pydantic-core": "pydantic",
    "starlette": "fastapi",
    "urllib3": "requests",
}


def names(requirements: list[str]) -> set[str]:
    return {canonicalize_name(Requirement(one).name) for one in requirements}


def imported() -> set[str]:
    """Return the packages from outside that the three packages import, by their names in pip."""
    modules = {
        name.split(".")[0]
        for package in ("service", "probes", "alerts")
        for source in read_sources(package)
        for name in source.imports
    }
    ours = {"service", "probes", "alerts", "tests", "sample_logs"}
    brought = packages_distributions()
    outside = modules - ours - set(sys.stdlib_module_names)
    return {canonicalize_name(brought[module][0]) for module in outside}


def test_each_dependency_has_a_reason() -> None:
    said = re.findall(r'^    "([^"]+)", # \S.{3,}$', TEXT, re.MULTILINE)
    said += re.findall(r'^\w+ = \["([^"]+)"\] # \S.{3,}$', TEXT, re.MULTILINE)
    assert {*PROJECT["dependencies"], *OPTIONAL} <= {*said}


def test_each_dependency_is_used_and_nothing_else_is() -> None:
    declared = names(PROJECT["dependencies"]) | names(OPTIONAL)
    assert imported() - COMES_WITH.keys() == declared - USED_BY_OTHERS.keys()
    assert {*COMES_WITH.values(), *USED_BY_OTHERS} <= declared


AUDIT = runpy.run_path(str(ROOT / "deploy" / "audit.py"))
HOLE = {"id": "PYSEC-2026-1", "aliases": ["CVE-2026-1"], "fix_versions": [], "description": ""}


@pytest.mark.parametrize(
    ("dependency", "known", "unasked"),
    [  # source: pip-audit 2.10.1, the form of its JSON
        ({"name": "click", "version": "8.1.8", "vulns": []}, [], None),
        (
            {"name": "click", "version": "8.1.8", "vulns": [HOLE]},
            ["click 8.1.8: PYSEC-2026-1, fixed by nothing yet"],
            None,
        ),
        ({"name": "click", "skip_reason": "not found"}, [], "1 of 1: not found"),
    ],
)
def test_a_known_hole_and_what_was_not_audited_are_told(
    dependency: dict[str, object], known: list[str], unasked: str | None
) -> None:
    report = json.loads(json.dumps({"dependencies": [dependency]}))
    assert list(AUDIT["find_known"](report)) == known
    assert AUDIT["say_unasked"](report) == unasked


def test_an_accepted_hole_is_named_with_a_reason_and_told_no_more() -> None:
    report = {"dependencies": [{"name": "click", "version": "8.1.8", "vulns": [HOLE]}]}
    accepted = AUDIT["ACCEPTED"]
    assert all(len(reason) > 10 for reason in accepted.values())
    accepted["CVE-2026-1"] = "only on Windows, until click 8.2"
    try:
        assert list(AUDIT["find_known"](report)) == []
    finally:
        del accepted["CVE-2026-1"]


@pytest.mark.parametrize(
    ("known", "audited", "whole", "said"),
    [
        ([], 0, False, "NOTHING AUDITED: whether a vulnerability is known could not be asked"),
        ([], 9, False, "in 9 packages; of what was not audited this says nothing"),
        ([], 9, True, "no vulnerability is known in 9 packages"),
        (["click 8.1.8: PYSEC-2026-1, fixed by nothing yet"], 0, False, "PYSEC-2026-1"),
    ],
)
def test_where_the_index_is_out_of_reach_nothing_is_called_free_of_holes(
    known: list[str], audited: int, whole: bool, said: str
) -> None:
    told = AUDIT["sum_up"](known, audited, whole)
    assert said in told
    assert ("no vulnerability is known" in told) is (audited > 0 and not known)
