"""The README is true: its commands run, and it shows every command there is."""

from __future__ import annotations

import contextlib
import re
import shlex
import subprocess

import pytest

from service.cli import COMMANDS
from service.settings import Settings
from tests.commands import run
from tests.deploy.told import README, ROOT, find_typed

# what is of the shell or of Debian is typed on a fresh one, by tests/deploy/test_fresh_debian.py
LINES = [line for line in find_typed(README) if line.startswith(("digseason ", "mkdir "))]


@pytest.fixture(scope="module")
def exit_codes(tmp_path_factory: pytest.TempPathFactory) -> dict[str, int]:
    """The exit code of each command of the README, run in its order on one store."""
    data, home = tmp_path_factory.mktemp("data"), tmp_path_factory.mktemp("home")
    codes: dict[str, int] = {}
    with contextlib.chdir(ROOT):
        for line in LINES:
            program, *words = shlex.split(line.replace("~", str(home)))
            if program == "digseason":
                codes[line] = run(data, *words)[0]
            else:
                codes[line] = subprocess.run([program, *words], check=False).returncode  # noqa: S603
    return codes


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
