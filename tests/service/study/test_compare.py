"""digseason compare and the researcher's bench: by hand, and as the rule says of blocks."""

from __future__ import annotations

import csv
import io
import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine

from service.bench import Store, open_store, root_zone, windows
from service.settings import Settings
from service.store.engine import writing
from tests.commands import run
from tests.planted import plant_block, plant_days

pytestmark = pytest.mark.sqlite_by_day

# by hand: half a °F a day from 50 on 1 April on; R is the value of two days before, so 62 is
# reached on 27 April and 64 on 1 May; a degree later each year
RISING = [50.0 + 0.5 * i for i in range(50)]
AS_OF = date(2025, 12, 31)


@pytest.fixture
def planted(engine: Engine) -> Engine:
    with writing(engine) as connection:
        plant_block(connection)
        for year in range(2020, 2026):
            later = [temp - (year - 2020) for temp in RISING]
            plant_days(connection, date(year, 4, 1), [None if year == 2023 else t for t in later])
    return engine


@pytest.fixture
def store(planted: Engine, tmp_path: Path) -> Store:
    return Store(planted, Settings(data=tmp_path))


@pytest.mark.parametrize("by", ["block", "depth"])
def test_openings_by_season_and_threshold(store: Store, by) -> None:
    frame: Any = windows(store, by=by, thresholds_f=[62, 64], as_of=AS_OF)
    spring = frame[(frame["kind"] == "spring") & (frame["spring_opens_f"] == 64)]
    shown = spring[["season", "outcome", "opened_day", "seen_d", "asked_d"]]
    # by hand: 1 May is day 121 of a common year; two days later each year, 2024 has a day more;
    # from 1 February to 1 May 90 days, of which R is there from 4 April on
    assert shown.fillna(-1).to_numpy().tolist() == [
        [2020, "opened", 122, 28, 91],
        [2021, "opened", 123, 30, 92],
        [2022, "opened", 125, 32, 94],
        [2023, "no readings", -1, 0, 334],
        [2024, "opened", 130, 36, 99],
        [2025, "opened", 131, 38, 100],
    ]
    assert frame["opened_day"].notna().sum() == 10
    assert frame.attrs["units"]["depth_cm"] == "cm"
    assert set(frame["block"]) == {"terrace-7" if by == "block" else ""}


@pytest.mark.both_by_day
def test_the_days_behind_them(store: Store) -> None:
    days: Any = root_zone(store, by="depth", as_of=date(2020, 12, 31))
    assert len(days) == 50
    assert days["mean_c"].iloc[0] == pytest.approx(10)
    assert days["depth_cm"].unique().tolist() == [30]
    assert len(root_zone(store, by="depth", depths_cm=[45])) == 0


def test_what_is_not_there_is_said_with_what_is(store: Store) -> None:
    with pytest.raises(LookupError, match="no block 'nowhere'; known: terrace-7"):
        windows(store, blocks=["nowhere"])
    with pytest.raises(LookupError, match="no rule set 'mine'; known: grape-phylloxera"):
        windows(store, rules=["mine"])
    with pytest.raises(FileNotFoundError, match="there is no store in"):
        open_store(store.settings.data / "nowhere")


def call(store: Store, *words: str) -> tuple[int, str]:
    url = store.engine.url.render_as_string(hide_password=False)
    return run(store.settings.data, "compare", *words, "--as-of", "2025-12-31", database_url=url)


def test_the_table_fits_80_columns_and_tells_the_trend(store: Store) -> None:
    code, printed = call(store, "--by", "depth")
    lines = printed.splitlines()
    assert code == 0
    assert max(map(len, lines)) <= 80
    assert lines[1].split() == ["2023", "2024", "2025", "half", "by"]
    # by hand: the four others opened on days 122, 123, 125, 130, 131; the middle one is 5 May, and
    # the season without readings may have opened before it
    assert lines[2] == "upper, 30 cm            no readings   9 May         11 May        5 May"
    assert lines[3] == "3 earlier seasons: --csv"
    # by hand: the slopes between two seasons are 1, 1, 1.5, 1.8, 2, 2, 2, 2, 2.33 and 2.5 a year
    assert "+20.0 days a decade (95 %: +10.0 to +25.0)" in printed
    assert "p = 0.017, 5 seasons, 1 left out" in printed  # 2 of 120 orders are as clear


def test_the_same_as_json_and_csv(store: Store) -> None:
    _, as_json = call(store, "--json")
    _, as_csv = call(store, "--csv")
    records = json.loads(as_json)
    assert [row["opened_on"] or None for row in csv.DictReader(io.StringIO(as_csv))] == [
        record["opened_on"] for record in records
    ]
    assert (records[0]["kind"], records[0]["opened_on"]) == ("spring", "2020-05-01")
