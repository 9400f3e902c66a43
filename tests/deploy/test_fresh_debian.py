"""What the READMEs say to run, on a Debian that has nothing but Python; needs root.

How long each step took is printed as it ends.
"""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.deploy.containerfile import as_script, build
from tests.deploy.fresh_debian import boot, fresh_debian, run_in
from tests.deploy.told import README, ROOT, find_commands, find_typed

TRIAL = Path(__file__).with_name("trial.sh").read_text("utf-8")
HANG_S = 7200  # no slow machine is meant
pytestmark = pytest.mark.long
Timed = Callable[[str], AbstractContextManager[None]]


@pytest.fixture(scope="module")
def timed(pytestconfig: pytest.Config) -> Timed:
    """Says on the terminal how long a step took, whether or not output is captured."""
    capture: Any = pytestconfig.pluginmanager.getplugin("capturemanager")

    @contextmanager
    def step(name: str) -> Iterator[None]:
        begun = time.monotonic()
        yield
        took_s = time.monotonic() - begun
        with capture.global_and_fixture_disabled():
            pytestconfig.get_terminal_writer().line(f"\n{took_s:6.0f} s  {name}")

    return step


@pytest.fixture(scope="module")
def least(tmp_path_factory: pytest.TempPathFactory, timed: Timed) -> Iterator[Path]:
    """The least of Debian, with Python."""
    with ExitStack() as stack:
        with timed("debootstrap"):
            folder = tmp_path_factory.mktemp("debian") / "least"
            root = stack.enter_context(fresh_debian(folder))
        yield root


@pytest.fixture
def debian(least: Path, tmp_path: Path) -> Iterator[Path]:
    """A copy of it that a test may change, with a clone of this checkout."""
    root = tmp_path / "debian"
    subprocess.run(["cp", "-a", least, root], check=True)  # noqa: S603, S607
    clone = "git", "-c", "safe.directory=*", "clone", "-q", ROOT, root / "root/digseason"
    subprocess.run([*map(str, clone)], check=True)  # noqa: S603
    yield root
    shutil.rmtree(root)


FIRST, SECOND = find_commands(README, "Try it")
SHOWN = find_typed(README)
COMPLETES = """bash -c '
    . /usr/share/bash-completion/bash_completion
    _completion_loader digseason
    complete -p digseason'"""


def test_a_newcomer_comes_by_the_readme_to_digests_and_through_all_its_commands(
    debian: Path, timed: Timed
) -> None:
    assert (FIRST, SECOND) == ("sh deploy/try", "sh deploy/test")
    with timed("the newcomer's whole way"):
        with timed(FIRST):
            tried = run_in(debian, f"cd /root/digseason; {FIRST}", HANG_S)
        assert tried.returncode == 0, tried.stdout
        assert "dig season is open" in tried.stdout.lower()
        script = ["cd /root/digseason"]
        for line in SHOWN:
            script += [f"echo {shlex.quote(f'$ {line}')}", line]
        with timed(f"the {len(SHOWN)} commands that it shows"):
            shown = run_in(debian, "\n".join([*script, COMPLETES]), HANG_S)
    assert shown.returncode == 0, shown.stdout[-3000:]
    assert re.findall(r"^\$ (.+)$", shown.stdout, re.MULTILINE) == SHOWN
    assert re.search(r"^complete .*-F _digseason_completion digseason$", shown.stdout, re.MULTILINE)


def test_the_second_command_of_the_readme_sets_up_and_comes_to_the_tests(
    debian: Path, timed: Timed
) -> None:
    # those in a browser run; the others would take as long as they do here, and are ended
    script = f"""
        cd /root/digseason
        {SECOND} >test.log 2>&1 & checks=$!
        until grep -q "^== tests (after" test.log; do
            kill -0 $checks || {{ cat test.log; exit 9; }}
            sleep 1
        done
        cat test.log"""
    with timed(f"{SECOND}, up to its last stage"):
        checked = run_in(debian, script, HANG_S)
    assert checked.returncode == 0, checked.stdout
    stages = re.findall(r"^== (.+) \(after", checked.stdout, re.MULTILINE)
    assert stages == ["set-up", "lint", "format", "types, and tests in a browser", "tests"]


def test_the_steps_of_the_container_file_lead_to_a_service(debian: Path, timed: Timed) -> None:
    with timed("the steps of the container file"):
        image = build(ROOT / "deploy/Containerfile", ROOT, debian, HANG_S)
    assert (image.base, image.user) == ("debian:12-slim", "digseason")
    serve = as_script(image, [*image.entry, *image.command])
    check = as_script(image, image.health)
    wait = f"until {check} 2>/dev/null; do kill -0 $!; sleep 1; done"
    served = run_in(debian, f"{serve} & {wait}", HANG_S, apart=True)
    assert served.returncode == 0, served.stdout
    backup = as_script(image, [*image.entry, "backup", "--into", "/var/backups/digseason"])
    backed_up = run_in(debian, backup, HANG_S)
    assert backed_up.returncode == 0, backed_up.stdout


def test_the_units_run_under_systemd_on_an_installed_machine(debian: Path, timed: Timed) -> None:
    packages = "apt-get update; apt-get install -y --no-install-recommends systemd dbus postgresql"
    wheels = "/opt/digseason/current/bin/pip download -q --require-hashes -d /root/wheels"
    script = f"""
        export DEBIAN_FRONTEND=noninteractive
        {packages}
        cd /root/digseason
        sh deploy/install
        {wheels} -r deploy/requirements.lock"""
    with timed("sh deploy/install, with systemd and PostgreSQL"):
        made = run_in(debian, script, HANG_S)
    assert made.returncode == 0, made.stdout
    with timed("the trial of a booted machine"):
        said = boot(debian, TRIAL, HANG_S)
    assert "Make the first account: http" in said, said
    assert "a home folder is hidden: 2" in said, said
    stands = said.partition("== how it stands\n")[2].splitlines()
    assert stands[:4] == [*["active"] * 3, "<svgroot 600 /etc/digseason.env"], said
    assert stands[4] == "digseason 700 /var/lib/digseason"
    assert re.fullmatch(r"digseason 600 /var/backups/digseason/digseason-.*Z\.db", stands[5])
    assert said.endswith("\n== all that was restored is taken away\n"), said
