"""digseason compare --archive: what an archive says is what its store says, to the day."""

from __future__ import annotations

import json
import shutil
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from functools import partial
from hashlib import sha256
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from frictionless import Package
from pyarrow import parquet

from alerts.rules import GRAPE_PHYLLOXERA
from alerts.variants import Numbers, vary
from service.archive.folder import Selection, write_archive
from service.bench import Store, windows
from service.cli import main
from service.farm.apply import apply_farm
from service.farm.read import farm_from_tables
from service.intake.files import import_file
from service.settings import Settings
from service.store.engine import open_engine, reading, writing
from service.study.archive import ArchiveError, ArchiveStudy, Source, list_sites
from service.study.cluster import compare_archive
from tests.commands import run
from tests.farms import farm_text
from tests.imported import DEPTHS_CM, NOW, write_log
from tests.processes import find_free_port, running_dask

AS_OF = date(2026, 6, 20)
IMPORTED_AT = NOW.replace(year=2026, month=7)
RULES = vary(GRAPE_PHYLLOXERA, Numbers([16.0, 18.0], [0.0, 0.5]))
NORTH = """
[[site]]
id = "bench"
name = "Low Bench"
timezone = "America/Los_Angeles"
latitude = 45.2
longitude = -123.2
elevation_m = 260

[[block]]
id = "ledge"
site = "bench"
name = "Ledge"

[[logger]]
id = "n1"
site = "bench"
layout = "plain"

[[logger]]
id = "n2"
site = "bench"
layout = "plain"
probes = [
    { column = "T15", depth_cm = 15, calibration_offset_c = 0.3 },
    { column = "T15", depth_cm = 12, valid_from = 2026-02-02 },
    { column = "T30", depth_cm = 30 },
]
"""


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory, sqlite_template: Path) -> Path:
    """A data folder of a site south and one north, over a turn of the year, with days missing."""
    folder = tmp_path_factory.mktemp("home")
    shutil.copy(sqlite_template, folder / "digseason.db")
    engine = open_engine(Settings(data=folder).store_url)
    farm = farm_from_tables(tomllib.loads(farm_text(depths_cm=DEPTHS_CM, more=NORTH)))
    with writing(engine) as connection:
        apply_farm(connection, farm, NOW, retire=False)
    hours = np.arange(260 * 24)
    year_c = 6 * np.cos(2 * np.pi * (hours / 24 - 110) / 365)  # warmest in January
    day_c = 3 * np.sin(hours * 2 * np.pi / 24)
    for logger, mean_c, sign, gap in (
        ("u1", 13, 1, (600, 672)),
        ("n1", 14, -1, (4000, 4300)),
        ("n2", 14.5, -1, (1000, 1800)),
    ):
        at_15_c, at_30_c = mean_c + sign * 1.3 * year_c + day_c, mean_c + sign * year_c
        values = {
            int(hour): (round(at_15_c[hour], 2), round(at_30_c[hour], 2))
            for hour in hours
            if not gap[0] <= hour < gap[1]
        }
        path = write_log(folder / f"{logger}.csv", values)
        import_file(engine, logger, path, IMPORTED_AT, False)
    with reading(engine) as connection:
        write_archive(connection, folder / "archive", Selection())
    engine.dispose()
    return folder


@pytest.fixture(scope="module")
def of_store(home: Path) -> Iterator[pd.DataFrame]:
    with Store(open_engine(Settings(data=home).store_url), Settings(data=home)) as store:
        yield windows(
            store, by="depth", thresholds_c=[16.0, 18.0], margins_c=[0.0, 0.5], as_of=AS_OF
        )


def study(home: Path, source: Source = "daily", until: date = AS_OF) -> ArchiveStudy:
    return ArchiveStudy(home / "archive", RULES, until, source, (), False, 0.2)


@pytest.mark.parametrize("source", ["daily", "readings"])
def test_an_archive_says_what_its_store_says(
    home: Path, of_store: pd.DataFrame, source: Source
) -> None:
    sites = list_sites(home / "archive", source)
    of = study(home, source)
    found = compare_archive(of.compare_sites, partial(of.part_sites, sites))
    parts = [part.table for part in found]
    opened = of_store[of_store["outcome"] == "opened"]
    assert set(opened["site"]) == {"bench", "upper"}
    assert set(opened["kind"]) == {"spring", "fall"}
    assert "not seen" in set(of_store["outcome"])
    pd.testing.assert_frame_equal(pd.concat(parts, ignore_index=True), of_store)


def test_how_often_a_logger_reads_is_what_the_farm_file_says(home: Path, amiss: Path) -> None:
    of = replace(study(home, "readings"), folder=amiss)
    whole = of.read_site("upper").mean_c
    for path in (amiss / "readings" / "site=upper").glob("year=*/*.parquet"):
        table = parquet.ParquetFile(path).read()
        told = json.loads(table.schema.metadata[b"intervals_min"])
        assert set(told.values()) == {60.0}
        metadata = table.schema.metadata | {
            b"intervals_min": json.dumps(told | {min(told): 1440.0})
        }
        parquet.write_table(table.replace_schema_metadata(metadata), path)
    # by hand: on the day on which it began one reading will do, where a logger gives one a day
    assert np.isfinite(of.read_site("upper").mean_c).sum() > np.isfinite(whole).sum() > 0


def test_it_ends_where_it_is_told_to(home: Path) -> None:
    found = study(home, until=date(2025, 10, 10)).read_site("upper")
    assert found.day[-1] == np.datetime64("2025-10-10")
    assert len(study(home, until=date(2025, 9, 1)).compare_sites(["upper"]).table) == 0


@pytest.fixture(scope="module")
def scheduler() -> Iterator[str]:
    """Give the address of a Dask scheduler in a process of its own."""
    address = f"tcp://127.0.0.1:{find_free_port()}"
    with running_dask("scheduler", "--host", address):
        yield address


def test_a_scheduler_without_workers_is_not_waited_for(
    home: Path, scheduler: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("service.study.cluster.WORKER_WITHIN_S", 0.1)
    code, printed = run(
        home, "compare", "--archive", home / "archive", "--scheduler", scheduler, "--csv"
    )
    assert code == 2
    said = " ".join(printed.replace("│", "").split())
    assert f"the scheduler at {scheduler} has no worker; start one: dask worker" in said


def test_a_cluster_of_other_processes_says_the_same(home: Path, scheduler: str) -> None:
    words = ("compare", "--archive", home / "archive", "--as-of", AS_OF, "--open-c", "16,18")
    code, alone = run(home, *words, "--csv")
    assert code == 0
    worker = ("worker", scheduler, "--nthreads", "1", "--no-nanny")
    with running_dask(*worker), running_dask(*worker):
        assert run(home, *words, "--csv", "--scheduler", scheduler) == (0, alone)


def test_what_is_no_archive_is_refused(home: Path, tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="holds no daily; name a folder that `export` wrote"):
        list_sites(tmp_path, "daily")
    with pytest.raises(ArchiveError, match=r"no site 'nowhere' in .*; known: bench, upper"):
        list_sites(home / "archive", "daily", ["nowhere"])


def test_a_store_takes_no_cluster(home: Path) -> None:
    code, printed = run(home, "compare", "--workers", "2")
    assert code == 2
    assert "--from-readings, --scheduler and --workers are for --archive" in printed


def _lies(folder: Path, source: Source, site: str) -> Path:
    return sorted((folder / source / f"site={site}").glob("year=*/*.parquet"))[0]


@pytest.fixture
def amiss(home: Path, tmp_path: Path) -> Path:
    """The same archive once more, to be spoiled."""
    shutil.copytree(home / "archive", tmp_path / "archive")
    return tmp_path / "archive"


def test_a_site_that_is_cut_off_is_told_and_the_others_count(home: Path, amiss: Path) -> None:
    path = _lies(amiss, "daily", "bench")
    path.write_bytes(path.read_bytes()[:-40])
    words = ["--data", str(home), "compare", "--archive", str(amiss), "--csv"]
    found = CliRunner().invoke(main, [*words, "--as-of", AS_OF.isoformat()])
    assert found.exit_code == 1
    assert f"site bench is left out: {path} cannot be read: " in found.stderr
    assert "; copy it from the archive again, or export anew\n" in found.stderr
    assert "1 of 2 sites is left out" in found.stderr
    assert {line.partition(",")[0] for line in found.stdout.splitlines()} == {"site", "upper"}


def test_a_table_of_an_archive_says_what_it_is_of_and_what_is_not_in_it(
    home: Path, of_store: pd.DataFrame, amiss: Path, tmp_path: Path
) -> None:
    path = _lies(amiss, "daily", "bench")
    path.write_bytes(path.read_bytes()[:-40])
    asked = "--open-c", "16,18", "--margin-c", "0,0.5", "--as-of", AS_OF
    code, _ = run(home, "compare", "--archive", amiss, *asked, "--to", tmp_path / "out")
    assert code == 1
    package = Package(tmp_path / "out" / "datapackage.json")
    report = package.validate()  # checksum, types and names of columns too
    assert report.valid, report.flatten(["message"])
    assert [one.path for one in package.resources] == ["openings.csv"]
    rows = pd.read_csv(tmp_path / "out" / "openings.csv")
    upper = of_store[of_store["site"] == "upper"]
    assert rows["opened_day"].tolist() == pytest.approx(upper["opened_day"].tolist(), nan_ok=True)
    told = package.to_dict()
    assert [rule["margin_c"] for rule in told["rules"]] == [0.0, 0.5, 0.0, 0.5]
    made_by = told["made_by"]
    assert (made_by["as of"], made_by["left out"]) == (str(AS_OF), "site bench is left out")
    sums = sha256((amiss / "SHA256SUMS").read_bytes()).hexdigest()
    assert made_by["sha256 of its SHA256SUMS"] == sums


def test_what_is_read_at_once_is_bounded_by_years_and_rules(home: Path, tmp_path: Path) -> None:
    for site, years in {"a": (1990, 2009), "b": (2000, 2019), "c": (), "d": (1850, 2049)}.items():
        for year in years:
            (tmp_path / "daily" / f"site={site}" / f"year={year}").mkdir(parents=True)
    of = replace(study(home), folder=tmp_path)
    names = list("abcdaabaaa")
    # by hand: a to c lie over 90 years of sites at most, five over 150, d alone over 200
    assert [*of.part_sites(names, 1)] == [list("abc"), ["d"], list("aabaa"), ["a"]]
    forty = replace(of, rules=RULES * 10)  # half as many: 100
    assert [*forty.part_sites(names, 1)] == [list("abc"), ["d"], list("aab"), list("aaa")]
    assert [*of.part_sites(list("aaaaaaaaa"), 2)] == [["a", "a"]] * 4 + [["a"]]


@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        (lambda path, _: path.write_text("day,mean_c\n"), "cannot be read: .*; copy it from"),
        (lambda path, other: shutil.copy(other, path), "is of site upper; copy it from"),
        (lambda path, _: path.unlink(), "holds no year=.* where it is read; copy it from"),
        (lambda path, _: _rewrite(path, keep_told=False), "is not of form 1 of an archive"),
        (lambda path, _: _rewrite(path, drop="mean_c"), "has no mean_c; copy it from"),
        (lambda path, _: _garble(path), "cannot be read: .*; copy it from"),
    ],
    ids=["text", "other site", "no file", "no archive", "no column", "garbled"],
)
def test_what_is_amiss_with_a_file_is_told(
    home: Path, amiss: Path, spoil: Callable[[Path, Path], object], why: str
) -> None:
    for path in (amiss / "daily" / "site=bench").glob("year=*/*.parquet"):
        spoil(path, _lies(amiss, "daily", "upper"))
    of = replace(study(home), folder=amiss)
    with pytest.raises(ArchiveError, match=why):
        of.read_site("bench")


def _rewrite(path: Path, keep_told: bool = True, drop: str = "") -> None:
    table = parquet.ParquetFile(path).read()
    table = table.drop([drop] if drop else [])
    parquet.write_table(table if keep_told else table.replace_schema_metadata(None), path)


def _garble(path: Path) -> None:
    """Spoil the pages of a file and leave what it says of itself."""
    whole = bytearray(path.read_bytes())
    whole[4:600] = bytes(596)
    path.write_bytes(whole)
