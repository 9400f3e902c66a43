"""digseason compare --archive: what an archive says is what its store says, to the day."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from distributed import LocalCluster

from alerts.rules import GRAPE_PHYLLOXERA
from alerts.variants import Numbers, vary
from service.archive.folder import Selection, write_archive
from service.bench import Store, windows
from service.settings import Settings
from service.store.engine import open_engine, reading
from service.study.archive import ArchiveError, ArchiveStudy, Source, compare_archive, list_sites
from tests.commands import run
from tests.imported import import_log, set_up, write_log

AS_OF = date(2025, 11, 30)
FIRST_C = 10.0
RULES = vary(GRAPE_PHYLLOXERA, Numbers([16.0, 18.0]))


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory, sqlite_template: Path) -> Path:
    """A data folder whose soil warms for sixty days of spring, three of them missing."""
    folder = tmp_path_factory.mktemp("home")
    shutil.copy(sqlite_template, folder / "digseason.db")
    engine = open_engine(Settings(data=folder).store_url)
    set_up(engine)
    hours = np.arange(60 * 24)
    swing_c = 3 * np.sin(hours * 2 * np.pi / 24)
    values = {
        int(hour): (round(FIRST_C + hour / 150 + swing, 2), round(FIRST_C + hour / 170, 2))
        for hour, swing in zip(hours, swing_c, strict=True)
        if not 600 <= hour < 672
    }
    import_log(engine, write_log(folder / "a.csv", values))
    with reading(engine) as connection:
        write_archive(connection, folder / "archive", Selection())
    engine.dispose()
    return folder


@pytest.fixture(scope="module")
def of_store(home: Path) -> Iterator[pd.DataFrame]:
    with Store(open_engine(Settings(data=home).store_url), Settings(data=home)) as store:
        yield windows(store, by="depth", thresholds_c=[16.0, 18.0], as_of=AS_OF)


def study(home: Path, source: Source = "daily", until: date = AS_OF) -> ArchiveStudy:
    return ArchiveStudy(home / "archive", RULES, until, source, (), False, 0.2)


@pytest.mark.parametrize("source", ["daily", "readings"])
def test_an_archive_says_what_its_store_says(
    home: Path, of_store: pd.DataFrame, source: Source
) -> None:
    sites = list_sites(home / "archive", source)
    found = pd.concat(compare_archive(study(home, source), sites), ignore_index=True)
    assert "opened" in set(found["outcome"])
    pd.testing.assert_frame_equal(found, of_store)


def test_it_ends_where_it_is_told_to(home: Path) -> None:
    found = study(home, until=date(2025, 10, 10)).read_site("upper")
    assert found.day[-1] == np.datetime64("2025-10-10")
    assert len(study(home, until=date(2025, 9, 1)).compare_site("upper")) == 0


def test_a_cluster_says_the_same(home: Path, of_store: pd.DataFrame) -> None:
    here: dict[str, Any] = {
        "host": "127.0.0.1",
        "dashboard_address": "127.0.0.1:0",
        "protocol": "tcp",
    }
    made: Any = LocalCluster(n_workers=1, processes=False, **here)
    with made as cluster:
        code, printed = run(
            home,
            *("compare", "--archive", str(home / "archive"), "--as-of", AS_OF.isoformat()),
            *("--open-c", "16,18", "--scheduler", cluster.scheduler_address, "--csv"),
        )
    assert code == 0
    assert len(printed.splitlines()) == 1 + len(of_store)


def test_what_is_no_archive_is_refused(home: Path, tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="holds no daily; name a folder that `export` wrote"):
        list_sites(tmp_path, "daily")
    with pytest.raises(ArchiveError, match=r"no site 'nowhere' in .*; known: upper"):
        list_sites(home / "archive", "daily", ["nowhere"])


def test_a_store_takes_no_cluster(home: Path) -> None:
    code, printed = run(home, "compare", "--workers", "2")
    assert code == 2
    assert "--from-readings, --scheduler and --workers are for --archive" in printed
