"""The systemd units: read, and their sandbox judged, by systemd itself; their commands parsed."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
from pathlib import Path

import click
import pytest

from service.cli import main

UNITS = Path(__file__).parents[2] / "deploy/systemd"
SERVICES = sorted(path.name for path in UNITS.glob("*.service"))
COMMAND = "/opt/digseason/current/bin/digseason"
EXPOSED_TENTHS = 15  # of 100; a service without a sandbox has 96


def analyze(units: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run systemd-analyze on units of a folder, and those that Debian has."""
    return subprocess.run(  # noqa: S603 (systemd's own)
        ["systemd-analyze", *words],  # noqa: S607 (systemd of the PATH)
        env={**os.environ, "SYSTEMD_UNIT_PATH": f"{units}:"},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture
def units(tmp_path: Path) -> Path:
    """The units, with a command in place of that which is installed."""
    units = Path(shutil.copytree(UNITS, tmp_path / "units"))
    for path in units.glob("*.service"):
        path.write_text(path.read_text().replace(COMMAND, shutil.which("true") or ""))
    return units


def test_systemd_finds_no_fault_in_the_units(units: Path) -> None:
    files = [str(path) for path in sorted(units.glob("*.*")) if path.is_file()]
    verified = analyze(units, "verify", "--man=no", *files)
    assert (len(files), verified.returncode, verified.stderr) == (4, 0, "")


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        pytest.param("ProtectHome=", "ProtectHomes=", id="a name"),
        pytest.param("MemoryMax=75%", "MemoryMax=lots", id="how much memory"),
    ],
)
def test_systemd_finds_a_fault_in_what_the_units_share(units: Path, right: str, wrong: str) -> None:
    shared = units / "digseason-.service.d/sandbox.conf"
    shared.write_text(shared.read_text().replace(right, wrong))
    said = analyze(units, "verify", str(units / SERVICES[0])).stderr
    assert "sandbox.conf" in said
    assert wrong.rstrip("=").rpartition("=")[2] in said


@pytest.mark.parametrize("service", SERVICES)
def test_little_is_exposed_of_the_machine(units: Path, service: str) -> None:
    words = "security", "--offline=true", "--no-pager", f"--threshold={EXPOSED_TENTHS}"
    judged = analyze(units, *words, str(units / service))
    assert judged.returncode == 0, judged.stdout
    shutil.rmtree(units / "digseason-.service.d")
    assert analyze(units, *words, str(units / service)).returncode != 0


@pytest.mark.parametrize("service", SERVICES)
def test_a_unit_starts_a_command_that_there_is(service: str) -> None:
    started = re.findall(r"^ExecStart=(.+)$", (UNITS / service).read_text(), re.MULTILINE)
    [[program, name, *words]] = map(shlex.split, started)
    command = main.get_command(click.Context(main), name)
    assert program == COMMAND
    assert command
    assert command.make_context(name, words).command is command
