"""digseason export: an archive holds what the store holds, for every common reader, to the bit."""

from __future__ import annotations

import shutil
import subprocess
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import dask.dataframe
import duckdb
import numpy as np
import pandas as pd
import polars as pl
import pytest
from pyarrow import parquet
from sqlalchemy import Engine, select

from service.store import tables
from service.store.archive import iterate_pages
from service.store.engine import open_engine, reading
from tests.commands import run
from tests.imported import import_log, set_up, write_log

NEW_YEAR = -6552  # by hand: 2025-01-01 00:00 at UTC+10:00, 273 days before START
PROBES = [
    {"column": "T15", "depth_cm": 20, "calibration_offset_c": 0.25},
    {"column": "T15", "depth_cm": 15, "valid_from": date(2025, 1, 1)},
    {"column": "T30", "depth_cm": 30, "valid_from": date(2025, 1, 1)},
]
CORRECTION = {
    "from": datetime(2025, 1, 2, 0, 30),  # noqa: DTZ001 (as the logger's clock showed it)
    "until": datetime(2025, 1, 2, 12),  # noqa: DTZ001
    "add": "+1h",
}
READINGS = ["probe", "observed_at", "soil_temp_c", "flag", "import_number"]
DAYS = ["probe", "day", "mean_c", "slots_present", "slots_in_day", "longest_gap_h", "complete"]


def fill(engine: Engine, folder: Path) -> None:
    """Four days about a new year of probes that were moved, by a clock that once was wrong."""
    set_up(engine, {"probes": PROBES, "clock_corrections": [CORRECTION]})
    noise = np.random.default_rng(7).normal(size=96)
    values = {
        NEW_YEAR - 48 + hour: (float(15 + each / 3), float(15 - each / 7) if hour % 5 else None)
        for hour, each in enumerate(noise)
        if hour not in (84, 85)
    }
    import_log(engine, write_log(folder / "a.csv", values))


@pytest.fixture
def filled(engine: Engine, tmp_path: Path) -> Engine:
    fill(engine, tmp_path)
    return engine


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory, sqlite_template: Path) -> Path:
    """A data folder with a store."""
    folder = tmp_path_factory.mktemp("home")
    engine = open_engine(f"sqlite:///{shutil.copy(sqlite_template, folder)}")
    fill(engine, folder)
    engine.dispose()
    return folder


@pytest.fixture(scope="module")
def archive(home: Path) -> Path:
    code, said = run(home, "export", "--parquet", home / "archive")
    assert code == 0, said
    return home / "archive"


def rows(frame: Any) -> list[tuple[object, ...]]:
    """Return rows with floats as their bits and missing as None."""
    columns = [
        [None if pd.isna(v) else v.hex() if isinstance(v, float) else v for v in frame[name]]
        for name in frame
    ]
    return list(zip(*columns, strict=True))


def stored(engine: Engine, *columns: Any) -> list[tuple[object, ...]]:
    with reading(engine) as connection:
        found = connection.execute(select(*columns).order_by(columns[0], columns[1])).all()
    return [tuple(v.hex() if isinstance(v, float) else v for v in row) for row in found]


def bytes_of(folder: Path) -> dict[str, bytes]:
    files = (path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}


def test_what_is_exported_is_what_the_store_holds_to_the_bit(
    filled: Engine, store_url: str, tmp_path: Path
) -> None:
    code, said = run(tmp_path, "export", "--parquet", tmp_path / "out", database_url=store_url)
    assert code == 0, said
    r, d = tables.reading.c, tables.daily_mean.c
    of_reading = (r.probe_id, r.observed_at, r.soil_temp_c, r.flag, r.import_id)
    given = pd.read_parquet(tmp_path / "out" / "readings").sort_values(["probe", "observed_at"])
    assert rows(given[READINGS]) == stored(filled, *of_reading)
    assert len(given) > 150
    of_day = [d[name] for name in DAYS[1:]]
    given = pd.read_parquet(tmp_path / "out" / "daily").sort_values(["probe", "day"])
    assert rows(given[DAYS]) == stored(filled, d.probe_id, *of_day)


def test_pages_of_a_probe_are_together_all_of_its_readings(filled: Engine) -> None:
    begin, end = datetime(2024, 12, 1, tzinfo=UTC), datetime(2025, 2, 1, tzinfo=UTC)
    with reading(filled) as connection:
        (whole,) = iterate_pages(connection, 1, begin, end, 1000)
        pages = list(iterate_pages(connection, 1, begin, end, 40))
    assert [page["flag"].size for page in pages] == [40, 40, 14]  # by hand: 96 hours less 2
    together = {name: np.concatenate([page[name] for page in pages]) for name in whole}
    assert all((together[name] == whole[name]).all() for name in whole)


def test_a_year_of_readings_is_of_utc_and_one_of_days_is_of_the_site(archive: Path) -> None:
    readings = pd.read_parquet(archive / "readings")
    assert (readings.observed_at.dt.year == readings.year.astype(int)).all()
    # by hand: 2025 begins in UTC at 10:00 of the site's day
    assert readings[readings.year == 2025].observed_at.min() == pd.Timestamp("2025-01-01T00Z")
    assert sorted(path.name for path in (archive / "daily" / "site=upper").iterdir()) == [
        "year=2024",
        "year=2025",
    ]
    days = pd.read_parquet(archive / "daily" / "site=upper" / "year=2025").day
    assert days.min() == date(2025, 1, 1)


def test_each_reading_has_the_depth_and_the_stamp_of_its_time(archive: Path) -> None:
    given = pd.read_parquet(archive / "readings")
    upper = given[given.channel == "T15"].set_index("observed_at")
    # by hand: at UTC+10:00 the site's 2025 begins after 14:00Z, midnight being of the day before
    assert upper.depth_cm["2024-12-31T14:00Z"] == 20
    assert upper.calibration_offset_c["2024-12-31T14:00Z"] == 0.25
    assert upper.depth_cm["2024-12-31T15:00Z"] == 15
    lower = given[given.channel == "T30"].set_index("observed_at")
    assert lower.depth_cm[:"2024-12-31T14:00Z"].isna().all()
    # by hand: stamped 2025-01-02 05:00, an hour slow, is 2025-01-01T20:00Z
    assert upper.stamped_at["2025-01-01T20:00Z"] == pd.Timestamp("2025-01-01T19:00Z")
    assert upper.stamped_at[:"2025-01-01T13:00Z"].isna().all()


@pytest.mark.filterwarnings("ignore:The inplace keyword")  # within Dask
def test_polars_duckdb_and_dask_read_what_pandas_reads(archive: Path) -> None:
    folder = archive / "readings"
    columns = [*READINGS, "logger", "channel", "depth_cm", "stamped_at"]
    expected = rows(pd.read_parquet(folder)[columns])
    by_polars = pl.read_parquet(folder, hive_partitioning=True)
    assert by_polars.schema["observed_at"] == pl.Datetime("us", "UTC")
    assert by_polars["site"].unique().to_list() == ["upper"]
    assert rows(by_polars.select(columns).to_pandas()) == expected
    by_dask = dask.dataframe.read_parquet(folder).compute(scheduler="synchronous")
    assert rows(by_dask[columns]) == expected
    with duckdb.connect() as connection:
        connection.execute("set threads = 1; set timezone = 'UTC'")
        files = f"read_parquet('{folder}/*/*/*.parquet', hive_partitioning = true)"
        found = connection.sql(f"select {', '.join(columns)}, site, year from {files}")  # noqa: S608
        by_duckdb = found.to_arrow_table().to_pandas()
    assert rows(by_duckdb[columns]) == expected
    assert sorted(set(by_duckdb.year)) == [2024, 2025]


def test_units_and_meanings_stand_in_each_file_and_in_the_guide(archive: Path) -> None:
    file = archive / "readings" / "site=upper" / "year=2024" / "part-0.parquet"
    schema = parquet.read_schema(file)
    assert schema.field("soil_temp_c").metadata[b"units"] == b"degree_Celsius"  # source: [CF]
    flag = schema.field("flag").metadata
    assert flag[b"flag_values"] == b"1 2 3 4 9"  # source: [IOOS-QARTOD]
    assert flag[b"flag_meanings"] == b"good not_evaluated suspect fail missing"  # source: [CF]
    assert schema.metadata[b"utc_offset_min"] == b"600"
    guide = (archive / "README.md").read_text("utf-8")
    assert "Digseason" in guide
    # by hand: 96 hours from a midnight on, which ends the day before
    assert "From 2024-12-29 to 2025-01-02" in guide
    assert [name for name in schema.names if f"| {name} | " not in guide] == []


def test_the_same_store_gives_the_same_bytes_in_place_of_an_earlier_export(
    home: Path, archive: Path
) -> None:
    before = bytes_of(archive)
    assert len(before) == 6
    code, said = run(home, "export", "--parquet", archive)
    assert code == 0, said
    assert bytes_of(archive) == before
    assert [path.name for path in home.iterdir() if path.name.startswith(".")] == []


def test_some_days_of_a_site_are_those_of_its_standard_time(home: Path, tmp_path: Path) -> None:
    words = ("--site", "upper", "--since", "2025-01-01", "--until", "2025-01-01")
    code, said = run(home, "export", "--parquet", tmp_path / "day", *words)
    assert code == 0, said
    at = pd.read_parquet(tmp_path / "day" / "readings").observed_at
    # by hand: 01:00 to 24:00 at UTC+10:00
    assert (at.min(), at.max()) == (
        pd.Timestamp("2024-12-31T15Z"),
        pd.Timestamp("2025-01-01T14Z"),
    )
    assert set(pd.read_parquet(tmp_path / "day" / "daily").day) == {date(2025, 1, 1)}


@pytest.mark.parametrize("name", ["letter.txt", "readings/site=upper/mine.csv"])
def test_a_folder_that_holds_anything_else_stays_as_it_is(
    home: Path, tmp_path: Path, name: str
) -> None:
    folder = tmp_path / "out"
    if "/" in name:  # an earlier export, to which someone has added a file
        run(home, "export", "--parquet", folder)
    (folder / name).parent.mkdir(parents=True, exist_ok=True)
    (folder / name).write_text("mine")
    before = bytes_of(folder)
    code, said = run(home, "export", "--parquet", folder)
    assert (code, "name" in said) == (2, True)
    assert bytes_of(folder) == before


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("--site", "nowhere"), "known: upper"),
        (("--since", "2031-01-01"), "nothing to export of all sites, from 2031-01-01 on"),
    ],
)
def test_what_cannot_be_exported_is_said_and_writes_nothing(
    home: Path, tmp_path: Path, words: tuple[str, str], complaint: str
) -> None:
    code, said = run(home, "export", "--parquet", tmp_path / "out", *words)
    assert (code, complaint in " ".join(said.split())) == (2, True)
    assert list(tmp_path.iterdir()) == []


def test_another_tool_says_that_each_file_is_as_it_was_written(archive: Path) -> None:
    check = ["sha256sum", "--check", "--quiet", "--strict", "SHA256SUMS"]  # GNU coreutils
    subprocess.run(check, cwd=archive, check=True)  # noqa: S603 (our own arguments)
    listed = {line[66:] for line in (archive / "SHA256SUMS").read_text("utf-8").splitlines()}
    assert listed == set(bytes_of(archive)) - {"SHA256SUMS"}
