"""What is installed: a wheel made of the source distribution, in an environment of its own."""

from __future__ import annotations

import re
import subprocess
import sys
import tarfile
import venv
from pathlib import Path
from zipfile import ZipFile

import pytest

from service.cli import COMMANDS

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.long


def call(*words: str | Path, cwd: Path) -> str:
    """Run a program, which must end well and say nothing of a fault; return what it printed."""
    done = subprocess.run(  # noqa: S603 (programs of this test)
        [*map(str, words)], cwd=cwd, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, ""), done.stdout
    return done.stdout


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A virtual environment with the wheel; what it needs it has from this one."""
    folder = tmp_path_factory.mktemp("package")
    build = sys.executable, "-m", "hatchling", "build", "-d", folder
    subprocess.run([*build, "-t", "sdist"], cwd=ROOT, check=True)  # noqa: S603
    with tarfile.open(next(folder.glob("*.tar.gz"))) as packed:
        packed.extractall(folder, filter="data")
    [source] = folder.glob("digseason-*/")
    subprocess.run([*build, "-t", "wheel"], cwd=source, check=True)  # noqa: S603
    home = folder / "venv"
    venv.create(home, symlinks=True)
    [packages] = home.glob("lib/python*/site-packages")
    others = (path for path in sys.path if path.endswith("site-packages"))
    (packages / "others.pth").write_text("\n".join(others))
    pip = sys.executable, "-m", "pip", "--python", home, "install", "--no-index", "--no-deps"
    subprocess.run([*pip, *folder.glob("*.whl")], check=True)  # noqa: S603
    return home


def test_the_installed_command_works_where_no_checkout_is(installed: Path, tmp_path: Path) -> None:
    python, digseason = installed / "bin/python", installed / "bin/digseason"
    where = call(python, "-c", "import service; print(service.__path__[0])", cwd=tmp_path)
    assert Path(where).is_relative_to(installed)
    version = call(digseason, "--version", cwd=tmp_path)
    assert re.fullmatch(r"digseason, version \d+\.\d+\.\d+\n", version)
    farm = ROOT / "service/farm/example.toml"
    call(digseason, "setup", farm, cwd=tmp_path)
    call(digseason, "bulletin", "--language", "es", "--out", "sheet.html", cwd=tmp_path)
    assert '<html lang="es"' in (tmp_path / "sheet.html").read_text("utf-8")


def test_the_manual_tells_every_command(installed: Path) -> None:
    page = installed / "share/man/man1/digseason.1"
    read = call("man", "-l", page, cwd=installed)
    assert {name for name in COMMANDS if f"\n   digseason {name}" not in read} == set()
    assert "   digseason finds import\n       digseason finds import [OPTIONS] FILE" in read


def test_a_build_without_the_packages_says_that_the_manual_is_missing(tmp_path: Path) -> None:
    bare = (
        "import sys; sys.modules['click'] = None; from hatchling.cli import hatchling; hatchling()"
    )
    build = sys.executable, "-c", bare, "build", "-d", str(tmp_path), "-t", "wheel"
    built = subprocess.run(build, cwd=ROOT, capture_output=True, text=True, check=True)  # noqa: S603
    assert "no manual page in this wheel" in built.stderr
    [wheel] = tmp_path.glob("*.whl")
    assert [name for name in ZipFile(wheel).namelist() if name.endswith(".1")] == []


def test_formatters_find_no_fault_in_the_manual(installed: Path) -> None:
    page = installed / "share/man/man1/digseason.1"
    assert call("mandoc", "-T", "lint", "-W", "warning", page, cwd=installed) == ""
    assert call("groff", "-ww", "-man", "-K", "utf8", "-z", page, cwd=installed) == ""
