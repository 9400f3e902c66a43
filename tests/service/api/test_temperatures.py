"""Readings, hourly and daily means over the API: ranges, parts, and one depth after the other."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from io import StringIO

import numpy as np
import pandas as pd
import pytest
from requests.utils import parse_header_links
from sqlalchemy import Engine, insert

from probes.frames import Readings
from service.daily_means import refresh_daily_means
from service.store import tables
from service.store.engine import writing
from service.store.loggers import fetch_logger
from service.store.readings import insert_readings
from service.web.api.ranges import count_whole
from tests.service.api.conftest import Ask

FIRST = datetime(2025, 7, 1, 8, tzinfo=UTC)
"""Midnight at the site."""
HALF_HOURS = 48 * 3
MOVED_ON = date(2025, 7, 3)


@pytest.fixture(scope="module", autouse=True)
def series(engine: Engine) -> None:
    """Three days of half hours at 15 cm, 1 °C more with each, one of them bad, and at 45 cm; the
    probe at 15 cm is moved to 20 cm on the third day, and corrected by 0.5 °C from then on."""
    at = np.datetime64(FIRST.replace(tzinfo=None), "us") + np.arange(1, HALF_HOURS + 1) * (
        np.timedelta64(30, "m")
    )
    flag = np.ones(HALF_HOURS, np.int8)
    flag[0] = 4
    with writing(engine) as connection:
        connection.execute(insert(tables.layout), {"name": "half", "spec": {"interval_min": 30.0}})
        of = {"id": "s1", "site_id": "upper", "layout_name": "half"}
        connection.execute(insert(tables.logger), of)
        for probe_id, channel in ((11, "T15"), (12, "T45")):
            row = {"id": probe_id, "logger_id": "s1", "channel": channel}
            connection.execute(insert(tables.probe), row)
        stretch = {"valid_from": date.min, "calibration_offset_c": 0.0}
        connection.execute(
            insert(tables.probe_stretch),
            [
                stretch | {"probe_id": 11, "depth_cm": 15.0},
                stretch | {"probe_id": 12, "depth_cm": 45.0},
                {
                    "probe_id": 11,
                    "valid_from": MOVED_ON,
                    "depth_cm": 20.0,
                    "calibration_offset_c": 0.5,
                },
            ],
        )
        insert_readings(connection, 11, 1, Readings(at, np.arange(1.0, HALF_HOURS + 1), flag))
        insert_readings(connection, 12, 1, Readings(at, np.full(HALF_HOURS, 9.0), flag * 0 + 1))
        refresh_daily_means(connection, fetch_logger(connection, "s1"))


def take_parts(ask: Ask, path: str, **query: str | int) -> list[list[dict[str, object]]]:
    parts, answer = [], ask(path, logger="s1", **query)
    while True:
        parts.append(answer.json())
        if "Link" not in answer.headers:
            return parts
        (following,) = parse_header_links(answer.headers["Link"])
        answer = ask(following["url"])


def test_readings_are_given_as_the_logger_has_them(ask: Ask) -> None:
    first, second, *_ = ask("/api/readings", logger="s1", limit=4).json()
    assert first == {
        "observed_at": "2025-07-01T08:30:00Z",
        "depth_cm": 15.0,
        "soil_temp_c": 1.0,
        "flag": 4,
    }
    assert (second["depth_cm"], second["soil_temp_c"]) == (45.0, 9.0)


def test_the_parts_of_readings_are_all_of_them_once_and_no_instant_is_split(ask: Ask) -> None:
    whole = ask("/api/readings", logger="s1").json()
    parts = take_parts(ask, "/api/readings", limit=101)
    assert [one for part in parts for one in part] == whole
    assert len(whole) == 2 * HALF_HOURS
    # by hand: two readings an instant, so that 100 is the most under 101
    assert [len(part) for part in parts] == [100, 100, 88]
    first_hour = take_parts(ask, "/api/readings", limit=1, until="2025-07-01T09:00Z")
    assert [len(part) for part in first_hour] == [2, 2]


@pytest.mark.parametrize(
    ("query", "count"),
    [
        # by hand: (after, until], as one part ends where the next begins
        ({"after": "2025-07-01T09:00:00Z", "until": "2025-07-01T10:00:00Z"}, 4),
        ({"after": "2025-07-01T01:00:00-08:00", "until": "2025-07-01T02:00:00-08:00"}, 4),
        ({"depth_cm": "45"}, HALF_HOURS),
        ({"depth_cm": "20"}, 48),
        ({"until": "2025-07-01T08:29:59Z"}, 0),
        ({"after": "2030-01-01T00:00:00Z"}, 0),
    ],
)
def test_readings_of_a_range_or_a_depth(ask: Ask, query: dict[str, str], count: int) -> None:
    assert len(ask("/api/readings", logger="s1", **query).json()) == count


def test_readings_as_csv_are_read_by_a_library_for_tables(ask: Ask) -> None:
    answer = ask("/api/readings", logger="s1", format="csv")
    table = pd.read_csv(StringIO(answer.text), parse_dates=["observed_at"])
    temps_c = table["soil_temp_c"].to_list()
    assert sum(temps_c) == HALF_HOURS * (HALF_HOURS + 1) / 2 + 9 * HALF_HOURS  # by hand
    assert str(table["observed_at"].dt.tz) == "UTC"


def test_hourly_means_are_those_of_another_library(ask: Ask) -> None:
    hours = ask("/api/hourly-means", logger="s1", depth_cm=15).json()
    at = pd.date_range(FIRST, periods=HALF_HOURS + 1, freq="30min")[1:]
    values = pd.Series(np.arange(1.0, HALF_HOURS + 1), at)
    values.iloc[0] = np.nan
    # source: pandas, resampled to hours that are labelled and closed on the right
    expected = values.resample("1h", label="right", closed="right").mean()[:48]
    assert [one["soil_temp_c"] for one in hours] == expected.tolist()
    assert [pd.Timestamp(one["observed_at"]) for one in hours] == [*expected.index]
    moved = ask("/api/hourly-means", logger="s1", depth_cm=20).json()
    assert moved[0]["soil_temp_c"] == (97 + 98) / 2 + 0.5  # by hand


def test_parts_of_hourly_means_are_all_of_them_once(ask: Ask) -> None:
    parts = take_parts(ask, "/api/hourly-means", limit=50)
    assert [one for part in parts for one in part] == ask("/api/hourly-means", logger="s1").json()
    late = ask("/api/hourly-means", logger="s1", after="2025-07-03T06:30:00Z").json()
    assert late[0]["observed_at"] == "2025-07-03T07:00:00Z"
    assert late[0]["soil_temp_c"] == 93.5  # by hand: of the whole hour, 93 and 94


def test_daily_means_say_how_much_of_a_day_there_is(ask: Ask) -> None:
    days = ask("/api/daily-means", logger="s1").json()
    assert [(one["day"], one["depth_cm"]) for one in days] == [
        ("2025-07-01", 15.0),
        ("2025-07-01", 45.0),
        ("2025-07-02", 15.0),
        ("2025-07-02", 45.0),
        ("2025-07-03", 20.0),
        ("2025-07-03", 45.0),
    ]
    # by hand: of hours 2, 3.5, 5.5 ... 47.5; then 48.5 to 96.5, and 97.5 to 143.5 and the half
    assert [one["mean_c"] for one in days if one["channel"] == "T15"] == pytest.approx(
        [(2 + sum(3.5 + 2 * hour for hour in range(23))) / 24, 72.5, 121.0]
    )
    assert {(one["coverage"], one["complete"]) for one in days} == {(1.0, True)}


def test_parts_of_days_are_all_of_them_once(ask: Ask) -> None:
    parts = take_parts(ask, "/api/daily-means", limit=3)
    assert [len(part) for part in parts] == [2, 2, 2]  # by hand: two depths a day
    one = ask("/api/daily-means", logger="s1", **{"from": "2025-07-02", "until": "2025-07-02"})
    assert one.json() == parts[1]


def test_root_zone_days_of_a_block_come_in_parts(ask: Ask) -> None:
    path = "/api/blocks/ledge/root-zone"
    april = ask(path, **{"from": "2025-04-29", "until": "2025-05-02"}).json()
    # by hand: 50 °F up to 30 April, then 70 °F
    assert [one["root_zone_c"] for one in april] == pytest.approx(
        [10, 10, 21.111, 21.111], abs=1e-3
    )
    first = ask(path, limit=2, **{"from": "2025-04-29"})
    (following,) = parse_header_links(first.headers["Link"])
    assert [*first.json(), *ask(following["url"], limit=2).json()] == april


def test_loggers_and_probes_say_where_they_lie(ask: Ask) -> None:
    logger = ask("/api/loggers/s1").json()
    assert (logger["interval_min"], logger["site"], logger["kind"]) == (30.0, "upper", "files")
    last = FIRST + timedelta(days=3)
    assert datetime.fromisoformat(logger["last_reading_at"]) == last
    assert [(one["channel"], one["depth_cm"], one["valid_from"], one["until"])
            for one in ask("/api/probes", logger="s1").json()] == [
        ("T15", 15.0, None, "2025-07-03"),
        ("T15", 20.0, "2025-07-03", None),
        ("T45", 45.0, None, None),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("path", "query", "said"),
    [
        ("readings", {"after": "2025-07-01T08:30:00"}, "timezone"),
        ("readings", {"after": "2025-07-02T00:00Z", "until": "2025-07-01T00:00Z"}, "later one"),
        ("readings", {"after": "9999-12-31T23:59:59-14:00"}, "1900-01-01 to 2200-01-01"),
        ("readings", {"depth_cm": "30"}, "there are: 15, 20, 45"),
        ("daily-means", {"from": "2025-07-02", "until": "2025-07-01"}, "before from"),
        ("daily-means", {"from": "0001-01-01"}, "1900-01-01 to 2200-01-01"),
        ("hourly-means", {"depth_cm": "nan"}, "finite"),
    ],
)
def test_a_range_that_is_none_is_refused(
    ask: Ask, path: str, query: dict[str, str], said: str
) -> None:
    answer = ask(f"/api/{path}", logger="s1", **query)
    problem = answer.json()
    assert answer.status_code == 422
    assert said in " ".join([problem["detail"], *problem.get("errors", ())])


def test_the_loggers_of_others_are_not_there(ask: Ask) -> None:
    assert [one["id"] for one in ask("/api/loggers", who="ada").json()] == ["s1", "u1"]
    for path in ("/api/readings", "/api/hourly-means", "/api/daily-means", "/api/probes"):
        answer = ask(path, who="ada", logger="of-ledge")
        assert answer.status_code == 404
        assert answer.json() == ask(path, who="ada", logger="nowhere").json()


@pytest.mark.parametrize(
    ("at", "limit", "count"),
    # by hand
    [([], 1, 0), ([1, 2], 2, 2), ([1, 1, 2], 2, 2), ([1, 2, 2], 2, 1), ([1, 1, 1, 2], 2, 3)],
)
def test_a_part_holds_whole_instants(at: list[int], limit: int, count: int) -> None:
    assert count_whole(np.array(at), limit) == count
