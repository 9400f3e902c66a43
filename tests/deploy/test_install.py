"""deploy/install in a folder that stands for the machine: what a failure leaves, and the way back.

Of systemd, and of a release, there is only what the script asks of them; that units start and
packages are installed is for test_fresh_debian.py.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.http_server import HttpServer, Reply, http_server

DEPLOY = Path(__file__).parents[2] / "deploy"
COPIED = ("setup.sh", "digseason", "digseason.env", "systemd")
PLACES = ("/opt/digseason", "/etc/", "/usr/local/", "/var/", "/run/systemd/system")
QUICK_SETUP = f"""
make_venv() {{ mkdir -p "$1/bin"; ln -s {sys.executable} "$1/bin/python"; }}
install_locked() {{ [ ! -e ROOT/no-packages ] || stop "no packages"; }}
"""
PROGRAMS = {  # that of root, of a time that goes on, and of systemd
    "id": "echo 0",
    "getent": "",
    "date": """case $1 in
    -u) echo . >>ROOT/dates; echo "r$(wc -l <ROOT/dates)" ;;
    *) exec /bin/date "$@" ;;
esac""",
    "systemctl": """echo "$*" >>ROOT/asked
case $1 in
    is-active) cat ROOT/state ;;
    start) [ ! -e ROOT/no-backup ] ;;
esac""",
}


@dataclass(frozen=True)
class Machine:
    """A folder with what the script finds on a machine, and what it made there."""

    root: Path
    pages: HttpServer

    def install(self, *words: str) -> tuple[int, str]:
        """Run the script; return its exit code and what it said."""
        ran = subprocess.run(  # noqa: S603 (our own script)
            ["sh", "deploy/install", *words],  # noqa: S607 (that of the PATH)
            cwd=self.root / "checkout",
            env={**os.environ, "PATH": f"{self.root / 'programs'}:{os.environ['PATH']}"},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            check=False,
        )
        return ran.returncode, ran.stdout

    def releases(self) -> list[str]:
        """Return the names of all releases, and which is current."""
        home = self.root / "opt/digseason"
        current = (home / "current").readlink().name if (home / "current").is_symlink() else "none"
        return [*sorted(path.name for path in (home / "releases").iterdir()), f"now {current}"]

    def asked(self) -> list[str]:
        """Return what systemd was asked, how units are left out."""
        lines = (self.root / "asked").read_text().splitlines()
        return [line for line in lines if not line.startswith("is-active")]


@pytest.fixture
def machine(tmp_path: Path) -> Iterator[Machine]:
    with http_server(lambda _: Reply()) as pages:
        for place in (*PLACES, "programs", "checkout/deploy"):
            (tmp_path / place.strip("/")).mkdir(parents=True, exist_ok=True)
        for name in COPIED:
            path = DEPLOY / name
            (tmp_path / "checkout/deploy" / name).symlink_to(path)
        setup = tmp_path / "checkout/deploy/setup.sh"
        setup.unlink()
        quick = QUICK_SETUP.replace("ROOT", str(tmp_path))
        setup.write_text((DEPLOY / "setup.sh").read_text() + quick)
        script = (DEPLOY / "install").read_text()
        port = pages.address.rpartition(":")[2]
        replaced = {place: f"{tmp_path}{place}" for place in PLACES}
        replaced |= {"-o digseason -g digseason ": "", "8064": port, "longest_s=300": "longest_s=1"}
        for old, new in replaced.items():
            assert old in script
            script = script.replace(old, new)
        (tmp_path / "checkout/deploy/install").write_text(script)
        for name, body in PROGRAMS.items():
            program = tmp_path / "programs" / name
            program.write_text(f"#!/bin/sh\n{body.replace('ROOT', str(tmp_path))}\n")
            program.chmod(0o755)
        (tmp_path / "state").write_text("active")
        yield Machine(tmp_path, pages)


def test_a_first_install_starts_nothing_and_says_what_is_next(machine: Machine) -> None:
    (machine.root / "state").write_text("inactive")
    code, said = machine.install()
    assert (code, "Next, as root:" in said) == (0, True)
    assert machine.releases() == ["r1", "now r1"]
    assert "start" not in " ".join(machine.asked()).replace("try-restart", "")
    assert machine.pages.asked == []
    settings = machine.root / "etc/digseason.env"
    assert settings.stat().st_mode & 0o777 == 0o600
    assert "\nDIGSEASON_LINK_SECRET=" in settings.read_text()


def test_an_upgrade_is_backed_up_before_and_waited_for_and_each_release_knows_the_way_back(
    machine: Machine,
) -> None:
    for _ in range(3):
        assert machine.install()[0] == 0
    assert machine.asked()[-3:] == [
        "start digseason-backup.service",
        "daemon-reload",
        "try-restart digseason-web.service digseason-jobs.service",
    ]
    assert {one.path for one in machine.pages.asked} == {"/health"}
    assert machine.install("--back")[0] == 0
    assert machine.releases() == ["r1", "r2", "r3", "now r2"]
    assert machine.install()[0] == 0  # the one that was gone back from is no way back
    for earlier in ("r2", "r1"):
        assert machine.install("--back")[0] == 0
        assert machine.releases()[-1] == f"now {earlier}"
    code, said = machine.install("--back")
    assert (code, "There is no release before" in said) == (1, True)


def test_an_install_that_fails_leaves_no_release(machine: Machine) -> None:
    machine.install()
    (machine.root / "no-packages").touch()
    assert machine.install()[0] == 1
    assert machine.releases() == ["r1", "now r1"]


def test_where_no_backup_can_be_made_nothing_changes_until_that_is_said(machine: Machine) -> None:
    machine.install()
    (machine.root / "no-backup").touch()
    code, said = machine.install()
    assert (code, "then: sh deploy/install --no-backup" in said) == (1, True)
    assert machine.releases() == ["r1", "now r1"]
    assert machine.install("--no-backup")[0] == 0
    assert machine.releases() == ["r1", "r3", "now r3"]


def test_a_release_that_does_not_serve_is_told_and_the_way_back_stands(machine: Machine) -> None:
    machine.install()
    machine.pages.say(Reply(status=503))
    code, said = machine.install()
    assert (code, "journalctl -u digseason-web says why" in said) == (1, True)
    assert machine.releases() == ["r1", "r2", "now r2"]
    machine.pages.say(Reply())
    assert machine.install("--back")[0] == 0
    assert machine.releases()[-1] == "now r1"


@pytest.mark.parametrize("name", ["DIGSEASON_DATA", "DIGSEASON_DATABASE_URL"])
def test_the_command_of_the_services_takes_no_other_store(name: str) -> None:
    ran = subprocess.run(  # noqa: S603 (our own script)
        ["sh", DEPLOY / "digseason", "check"],  # noqa: S607 (that of the PATH)
        env={**os.environ, name: "another"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (ran.returncode, ran.stdout) == (2, "")
    assert ran.stderr.startswith("This is for the store of the services. Unset DIGSEASON_DATA")


def test_units_that_are_stopped_are_not_waited_for(machine: Machine) -> None:
    machine.install()
    (machine.root / "state").write_text("inactive")
    machine.pages.say(Reply(status=503))
    assert machine.install()[0] == 0
    assert machine.install("--back")[0] == 0
