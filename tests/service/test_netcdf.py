"""digseason export --netcdf: what a file holds is what the store holds, by the CF conventions."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
import xarray as xr
from compliance_checker.runner import CheckSuite, ComplianceChecker

from service.settings import Settings
from service.store.engine import open_engine
from tests.commands import run
from tests.service.test_archive import fill


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory, sqlite_template: Path) -> Path:
    folder = tmp_path_factory.mktemp("home")
    shutil.copy(sqlite_template, folder / "digseason.db")
    engine = open_engine(Settings(data=folder).store_url)
    fill(engine, folder)
    engine.dispose()
    code, printed = run(folder, "export", "--netcdf", str(folder / "nc"))
    assert (code, printed.startswith(f"{folder / 'nc'}: 1 site, ")) == (0, True)
    return folder


def test_a_file_keeps_to_the_conventions(home: Path) -> None:
    # [CF-1.11], by the open compliance checker of IOOS 6.1
    CheckSuite.load_all_available_checkers()
    passed, failed = ComplianceChecker.run_checker(
        str(home / "nc" / "upper.nc"), ["cf:1.11"], 0, "strict",
        output_filename=str(home / "said.txt"), output_format="text",
    )  # fmt: skip
    assert (passed, failed) == (True, False), (home / "said.txt").read_text()


def test_temperatures_flags_and_depths_are_those_of_the_archive(home: Path) -> None:
    import pandas as pd

    code, _ = run(home, "export", "--parquet", str(home / "archive"))
    assert code == 0
    rows: Any = pd.read_parquet(home / "archive" / "readings").dropna(subset=["depth_cm"])
    with xr.open_dataset(home / "nc" / "upper.nc") as file:
        held = file["soil_temperature"].to_series().dropna()
        flags = file["soil_temperature_flag"].to_series()
        assert file.attrs["featureType"] == "timeSeriesProfile"
    assert len(held) == len(rows)
    assert (flags != 9).sum() == len(rows)
    for row in rows.itertuples():
        at = 0, row.observed_at.tz_localize(None), row.depth_cm / 100
        assert held[at] == row.soil_temp_c + row.calibration_offset_c
        assert flags[at] == row.flag


def test_the_same_store_gives_the_same_bytes(home: Path) -> None:
    run(home, "export", "--netcdf", str(home / "again"))
    first, again = ((home / name / "upper.nc").read_bytes() for name in ("nc", "again"))
    assert first == again


@pytest.mark.parametrize(
    ("words", "problem"),
    [
        ((), "say where to: --parquet DIR, --netcdf DIR, or both"),
        (("--netcdf", "x", "--site", "nowhere"), "no site 'nowhere'; known: upper"),
        (("--netcdf", "x", "--since", "2030-01-01"), "there is nothing to export of all sites"),
    ],
)
def test_what_cannot_be_written_says_why(home: Path, words: tuple[str, ...], problem: str) -> None:
    code, printed = run(home, "export", *words)
    assert code == 2
    assert problem in " ".join(printed.split())
