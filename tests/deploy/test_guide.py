"""deploy/README.md names what there is; what it says to type is typed on a booted machine."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import click
import pytest

from service.cli import main
from service.settings import Settings
from tests.deploy.told import GUIDE, ROOT, find_commands

TRIAL = Path(__file__).with_name("trial.sh").read_text("utf-8")
SETTINGS = {f"DIGSEASON_{name.upper()}" for name in Settings.model_fields}
NAMED = sorted({*re.findall(r"`digseason ([^`|]+)`", GUIDE.replace("\n", " "))})


def test_the_trial_of_a_booted_machine_takes_each_command_of_the_guide() -> None:
    chapters = "On a Debian machine", "Backups and the drill", "Upgrade and go back"
    guide = [line for chapter in chapters for line in find_commands(GUIDE, chapter)]
    trial = TRIAL.splitlines()
    left = {line for line in guide if not any(one.startswith(line) for one in trial)}
    # its checkout grows by a revision, it has no network, and a backup is named by its time
    restore = "digseason restore /var/backups/digseason/digseason-2026-11-25T021500Z.db"
    assert left == {"git pull", "apt-get install -y postgresql", restore}


@pytest.mark.parametrize("name", sorted({*re.findall(r"DIGSEASON_[A-Z_]+", GUIDE)}))
def test_a_setting_that_the_guide_names_is_one(name: str) -> None:
    assert name in SETTINGS


@pytest.mark.parametrize("line", NAMED)
def test_a_command_that_the_guide_names_is_one_and_has_its_options(line: str) -> None:
    command: click.Command = main
    words = shlex.split(line)
    while isinstance(command, click.Group) and words and not words[0].startswith("-"):
        found = command.get_command(click.Context(command), words.pop(0))
        assert found
        command = found
    options = {name for one in command.params for name in one.opts}
    assert {word for word in words if word.startswith("--")} <= options


@pytest.mark.parametrize("link", re.findall(r"\]\(([^)#]+)\)", GUIDE))
def test_a_link_of_the_guide_leads_somewhere(link: str) -> None:
    assert (ROOT / "deploy" / link).exists()
