"""What the README says to run, on a Debian that has nothing but Python; needs root."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.deploy.containerfile import as_script, build
from tests.deploy.fresh_debian import boot, fresh_debian, run_in

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
TRY_S = 1800  # a hang is meant, not a slow machine
MINUTE_S = 60
pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def least(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The least of Debian, with Python."""
    with fresh_debian(tmp_path_factory.mktemp("debian") / "least") as root:
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


def commands(heading: str) -> list[str]:
    """Return the indented lines of a section of the README."""
    section = README.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    return re.findall(r"^    (\S.*)$", section, re.MULTILINE)


def test_the_first_command_of_the_readme_leads_to_digests(debian: Path) -> None:
    first, second = commands("Try it")
    assert (first, second) == ("sh deploy/try", "sh deploy/test")
    tried = run_in(debian, f"cd /root/digseason; {first}", TRY_S)
    assert tried.returncode == 0, tried.stdout
    assert "Scouting window open" in tried.stdout
    shown = run_in(debian, "cd /root/digseason; .venv/bin/digseason --version", MINUTE_S)
    assert shown.returncode == 0, shown.stdout


def test_the_steps_of_the_container_file_lead_to_a_service(debian: Path) -> None:
    image = build(ROOT / "deploy/Containerfile", ROOT, debian, TRY_S)
    assert (image.base, image.user) == ("debian:12-slim", "digseason")
    serve = as_script(image, [*image.entry, *image.command])
    check = as_script(image, image.health)
    wait = f"for i in $(seq 40); do sleep 1; {check} 2>/dev/null && exit; done; exit 9"
    served = run_in(debian, f"{serve} & {wait}", 2 * MINUTE_S, apart=True)
    assert served.returncode == 0, served.stdout
    backup = as_script(image, [*image.entry, "backup", "--into", "/var/backups/digseason"])
    backed_up = run_in(debian, backup, MINUTE_S)
    assert backed_up.returncode == 0, backed_up.stdout


TRIAL = """
install -o digseason -m 0600 /root/digseason/sample_logs/farm.toml /var/lib/digseason
install -o digseason -m 0600 /root/digseason/sample_logs/SM-1_*.csv /var/lib/digseason
runuser -u postgres -- createuser digseason
runuser -u postgres -- createdb -O digseason digseason
echo DIGSEASON_DATABASE_URL=postgresql:///digseason >>/etc/digseason.env
systemctl enable --now digseason-web digseason-jobs digseason-backup.timer
digseason setup farm.toml
digseason import --logger SM-1 SM-1_2024-25.csv SM-1_2025-26.csv
digseason region --as-of 2025-11-21 --share share.svg
digseason setup /root/digseason/sample_logs/farm.toml || echo "a home folder is hidden: $?"
for i in $(seq 60); do
    python3 -c "from urllib.request import urlopen; urlopen('http://127.0.0.1:8064/health')"
    [ $? -eq 0 ] && break
    sleep 1
done
systemctl start digseason-backup
sh /root/digseason/deploy/install --back
systemctl stop digseason-web digseason-jobs
runuser -u postgres -- dropdb digseason
runuser -u postgres -- createdb -O digseason digseason
digseason restore /var/backups/digseason/*.db && echo "restored: $?"
digseason outbox release
systemctl start digseason-web digseason-jobs
systemctl is-active digseason-web digseason-jobs digseason-backup.timer
readlink /opt/digseason/current
head -c 4 /var/lib/digseason/share.svg
stat -c "%U %a %n" /etc/digseason.env /var/lib/digseason /var/backups/digseason/*.db
"""


def test_the_units_run_under_systemd_on_an_installed_machine(debian: Path) -> None:
    packages = "apt-get update; apt-get install -y --no-install-recommends systemd dbus postgresql"
    install = "cd /root/digseason; sh deploy/install; sh deploy/install"
    made = run_in(debian, f"export DEBIAN_FRONTEND=noninteractive; {packages}; {install}", TRY_S)
    assert made.returncode == 0, made.stdout
    older, _ = sorted((debian / "opt/digseason/releases").iterdir())
    said = boot(debian, TRIAL, 5 * MINUTE_S)
    assert "a home folder is hidden: 2" in said, said
    assert "restored: 0" in said, said
    tail = said.splitlines()[-7:]
    assert tail[:5] == [
        *["active"] * 3,
        f"/opt/digseason/releases/{older.name}",
        "<svgroot 600 /etc/digseason.env",
    ], said
    assert tail[5] == "digseason 700 /var/lib/digseason"
    assert re.fullmatch(r"digseason 600 /var/backups/digseason/digseason-.*Z\.db", tail[6])
