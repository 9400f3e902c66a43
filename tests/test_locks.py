"""The lock files: every package pinned, and no word about where it is fetched from."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
LOCKS = ("requirements.lock", "requirements-dev.lock")
ALL_LOCKS = sorted(path.name for path in (ROOT / "deploy").glob("*.lock"))


def lock_lines(name: str) -> list[str]:
    return (ROOT / "deploy" / name).read_text("utf-8").splitlines()


def pinned(name: str) -> dict[str, str]:
    """Return package -> version of a lock file."""
    pins = (re.match(r"([\w.-]+)(?:\[.*\])?==([^\s;]+)", line) for line in lock_lines(name))
    return {canonicalize_name(pin[1]): pin[2] for pin in pins if pin}


def declared(group: str | None) -> list[Requirement]:
    """Return what pyproject.toml asks for: its dependencies, or a dependency group."""
    pyproject = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    if group is None:
        return [Requirement(text) for text in pyproject["project"]["dependencies"]]
    texts = [text for text in pyproject["dependency-groups"][group] if isinstance(text, str)]
    return [Requirement(text) for text in texts]


def unmet(wanted: list[Requirement], pins: dict[str, str]) -> list[str]:
    """Return the requirements that no pin meets."""
    return [
        str(requirement)
        for requirement in wanted
        if not requirement.specifier.contains(pins.get(canonicalize_name(requirement.name), "0"))
    ]


@pytest.mark.parametrize("name", ALL_LOCKS)
def test_a_lock_file_names_no_host_and_no_index(name: str) -> None:
    telling = re.compile(r"://|^\s*(-i|-f|--(index-url|extra-index-url|find-links))\b")
    assert [line for line in lock_lines(name) if telling.search(line)] == []


@pytest.mark.parametrize("name", LOCKS)
def test_every_dependency_of_the_project_is_pinned_in_the_lock(name: str) -> None:
    assert unmet([*declared(None), *declared("build")], pinned(name)) == []


def test_every_tool_of_the_developers_is_pinned_in_their_lock() -> None:
    assert unmet(declared("dev"), pinned("requirements-dev.lock")) == []


def test_the_developers_lock_pins_what_users_get() -> None:
    assert pinned("requirements.lock").items() <= pinned("requirements-dev.lock").items()
