"""The README is true: its commands run, and it shows every command there is."""

from __future__ import annotations

import contextlib
import re
import shlex
from pathlib import Path

import pytest

from service.cli import COMMANDS
from service.settings import Settings
from tests.commands import run

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
LINES = re.findall(r"^\$ digseason (.+)$", README, re.MULTILINE)


@pytest.fixture(scope="module")
def exit_codes(tmp_path_factory: pytest.TempPathFactory) -> dict[str, int]:
    """The exit code of each command of the README, run in its order on one store."""
    data = tmp_path_factory.mktemp("data")
    with contextlib.chdir(ROOT):
        return {line: run(data, *shlex.split(line))[0] for line in LINES}


@pytest.mark.parametrize("line", LINES)
def test_a_command_of_the_readme_runs(exit_codes: dict[str, int], line: str) -> None:
    assert exit_codes[line] == 0


@pytest.mark.parametrize("name", COMMANDS)
def test_the_readme_shows_every_command(name: str) -> None:
    assert f"digseason {name}" in README


@pytest.mark.parametrize("name", Settings.model_fields)
def test_the_readme_explains_every_setting(name: str) -> None:
    assert f"`DIGSEASON_{name.upper()}`" in README


@pytest.mark.parametrize("link", re.findall(r"\]\(([^)#]+)\)", README))
def test_a_link_of_the_readme_leads_somewhere(link: str) -> None:
    assert (ROOT / link).exists()
