"""Forecasts of the air: fetched where a site asks, never needed, and heeded by its outlooks."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import Engine, insert, select

from probes.feeds.contract import FeedAnswerError
from service.farm.export import farm_from_store, farm_text
from service.fetching.gridpoint import fetch_gridpoint
from service.fetching.http import Fetcher, FetchError
from service.forecasts import ForecastReport, fetch_due_forecasts, find_air
from service.outlooks import fetch_expected, find_block_outlooks, keep_outlooks
from service.store import tables
from service.store.blocks import fetch_blocks
from service.store.engine import reading, writing
from service.store.forecasts import ForecastRow, fetch_air, fetch_forecast_sites
from tests import farms
from tests.commands import run
from tests.farms import set_up
from tests.generated_root_zone import generated_air, generated_days
from tests.gridpoint_answers import FIRST_DAY, UPDATED_AT, WEST_MIN, grid, point
from tests.http_server import Asked, HttpServer, Reply, http_server
from tests.planted import plant_block, plant_days

NOW = UPDATED_AT + timedelta(hours=2)
EVENING = date(2026, 4, 19)


@pytest.fixture
def server() -> Iterator[HttpServer]:
    with http_server() as running:
        running.answers = lambda asked: answer(running, asked)
        yield running


def answer(server: HttpServer, asked: Asked) -> Reply:
    """Answer as the service does: 403 where nobody says who asks."""
    if not asked.headers.get("User-Agent", "").endswith("(grower@example.org)"):
        return Reply(b'{"title": "Forbidden"}', 403)
    if asked.path == "/points/45.1,-123.2":
        return Reply(json.dumps(point(server.address)).encode())
    if asked.path == "/gridpoints/XXX/36,73":
        return Reply(json.dumps(grid()).encode())
    return Reply(b'{"title": "Not Found"}', 404)


@pytest.fixture
def farm(engine: Engine, server: HttpServer) -> Engine:
    """A store with a site whose air is forecast, never fetched."""
    set_up(engine, farm_with(server.address))
    return engine


def farm_with(address: str) -> str:
    key = f'{{ feed = "gridpoint", url = "{address}", allow_hosts = ["127.0.0.1"] }}'
    text = farms.farm_text(north=True)
    return text.replace("longitude = -123.2\n", f"longitude = -123.2\nforecast = {key}\n", 1)


def make(one: ForecastRow) -> Fetcher:
    """Make a fetcher that is quick and never sleeps."""
    return Fetcher(
        "grower@example.org",
        one.spec["allow_hosts"],
        between_requests_s=0,
        sleep=lambda _: None,
        read_timeout_s=0.3,
    )


def stored(engine: Engine) -> list[tuple[date, date, float]]:
    columns = (tables.air_forecast.c[name] for name in ("issued_on", "day", "air_c"))
    with reading(engine) as connection:
        rows = connection.execute(select(*columns).order_by(tables.air_forecast.c.day))
        return [tuple(row) for row in rows]


def standing(engine: Engine) -> ForecastRow:
    with reading(engine) as connection:
        (one,) = fetch_forecast_sites(connection)
    return one


WEEK = [(EVENING, FIRST_DAY + timedelta(days=day), pytest.approx(11.5 + day)) for day in range(7)]


def test_the_days_of_a_forecast_are_kept_and_fetched_again_when_due(farm: Engine) -> None:
    assert fetch_due_forecasts(farm, make, NOW) == [ForecastReport("upper", 7)]
    assert stored(farm) == WEEK
    assert fetch_due_forecasts(farm, make, NOW + timedelta(minutes=179)) == []
    assert len(fetch_due_forecasts(farm, make, NOW + timedelta(minutes=180))) == 1
    assert stored(farm) == WEEK


FAULTS = {
    "500": Reply(b'{"title": "Unexpected Problem"}', 500),
    "503": Reply(b'{"title": "Forecast Grid Expired"}', 503),
    "another form": Reply(b'{"properties": {"forecastGridData": 7}}'),
    "no JSON": Reply(b"<html>maintenance</html>"),
    "hangs": Reply(b"late", hang_s=0.5),
    "no such place": Reply(b'{"title": "Data Unavailable For Requested Point"}', 404),
}


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS)
def test_a_fault_is_an_error_that_says_what_answered(server: HttpServer, fault: Reply) -> None:
    server.say(fault)
    fetcher = Fetcher(
        allow_hosts=["127.0.0.1"], between_requests_s=0, sleep=lambda _: None, read_timeout_s=0.2
    )
    with pytest.raises((FetchError, FeedAnswerError), match=r"answer|Timeout|timed out|Read"):
        fetch_gridpoint(fetcher, server.address, 45.1, -123.2, WEST_MIN, NOW)


def test_a_failure_is_noted_and_what_was_forecast_stays(farm: Engine, server: HttpServer) -> None:
    good = server.answers
    fetch_due_forecasts(farm, make, NOW)
    server.say(Reply(b'{"title": "Forecast Grid Expired"}', 503))
    later = NOW + timedelta(hours=4)
    (failed,) = fetch_due_forecasts(farm, make, later)
    one = standing(farm)
    assert failed.failure is not None
    assert (one.failure, one.failing_since, one.fetched_at) == (failed.failure, later, NOW)
    assert stored(farm) == WEEK
    server.answers = good
    fetch_due_forecasts(farm, make, NOW + timedelta(hours=8))
    assert standing(farm).failure is None


def test_a_farm_file_gives_the_forecast_back(farm: Engine, server: HttpServer) -> None:
    with reading(farm) as connection:
        text = farm_text(farm_from_store(connection))
    assert f'forecast = {{ feed = "gridpoint", url = "{server.address}", allow_hosts' in text
    set_up(farm, farms.farm_text(north=True))
    with reading(farm) as connection:
        assert fetch_forecast_sites(connection) == []


def test_the_latest_forecast_of_each_day_counts_and_none_of_after_the_day(engine: Engine) -> None:
    set_up(engine, farms.farm_text(north=True))
    days = [EVENING + timedelta(days=ahead) for ahead in range(4)]
    rows = [(days[0], days[0], 1.0), (days[0], days[1], 2.0), (days[0], days[2], 3.0)]
    rows += [(days[1], days[2], 4.0), (days[2], days[3], 5.0)]
    names = ("issued_on", "day", "air_c")
    with writing(engine) as connection:
        values = [{"site_id": "upper", **dict(zip(names, row, strict=True))} for row in rows]
        connection.execute(insert(tables.air_forecast), values)
        found = fetch_air(connection, ["upper"], days[1])
    assert found == {"upper": {days[1]: (days[0], 2.0), days[2]: (days[1], 4.0)}}


def test_air_of_a_day_ahead_fits_the_response_and_old_forecasts_are_left() -> None:
    days, root_zone_c = generated_days(seed=1, years=4)
    days, root_zone_c = days[:800], root_zone_c[:800]
    air_c = generated_air(seed=1, years=4)
    forecast = {
        day: (day - timedelta(days=1), float(one_c))
        for day, one_c in zip(days.tolist(), air_c, strict=False)
    }
    last = days[-1].item()
    assert find_air(forecast, root_zone_c, days) is None  # nothing to come
    coming = {last + timedelta(days=ahead): (last, 15.0) for ahead in range(1, 10)}
    found = find_air(forecast | coming, root_zone_c, days)
    assert found
    air, issued_on = found
    assert issued_on == last
    assert air.days.tolist() == [last + timedelta(days=ahead) for ahead in range(1, 8)]
    few = find_air(coming, root_zone_c, days)
    assert few
    assert np.trace(air.response.cov) < np.trace(few[0].response.cov) / 2


def test_an_outlook_heeds_the_forecast_says_so_and_keeps_that(
    engine: Engine, store_url: str, tmp_path: Path
) -> None:
    as_of = date(1994, 5, 5)
    days, root_zone_c = generated_days(seed=1, years=4)
    until = days <= np.datetime64(as_of)
    with writing(engine) as connection:
        plant_block(connection)
        plant_days(connection, date(1991, 1, 1), (root_zone_c[until] * 1.8 + 32).tolist())
        (block,) = fetch_blocks(connection)
        (without,) = find_block_outlooks(connection, [block], [as_of], 0.2)
        rows = [
            {
                "site_id": block.site_id,
                "issued_on": as_of,
                "day": as_of + timedelta(days=ahead),
                "air_c": 27.0,  # far warmer than such days
            }
            for ahead in range(1, 8)
        ]
        connection.execute(insert(tables.air_forecast), rows)
        (heeding,) = find_block_outlooks(connection, [block], [as_of], 0.2)
        keep_outlooks(connection, [heeding])
        kept = fetch_expected(connection, [block.id], as_of)[block.id]
    assert (without.air_issued_on, heeding.air_issued_on, kept.air_issued_on) == (
        None, as_of, as_of,
    )  # fmt: skip
    assert without.outlook
    assert without.outlook.opens
    assert heeding.outlook
    assert heeding.outlook.opens
    assert heeding.outlook.opens.within_14_d > without.outlook.opens.within_14_d
    words = ("outlook", "--block", block.id, "--as-of", as_of.isoformat())
    _, printed = run(tmp_path, *words, database_url=store_url)
    assert "This is with the air forecast of 5 May." in " ".join(printed.split())
    earlier = ("outlook", "--block", block.id, "--as-of", "1994-05-04")
    assert "air forecast" not in run(tmp_path, *earlier, database_url=store_url)[1]


def test_the_command_fetches_forecasts_and_tells_what_failed(
    farm: Engine, server: HttpServer, store_url: str, tmp_path: Path
) -> None:
    assert standing(farm).fetched_at is None
    code, printed = run(tmp_path, "fetch", database_url=store_url)
    assert code == 1  # nobody said who asks
    assert "air forecast of upper: failed" in " ".join(printed.split())
    assert "403" in printed
    code, printed = run(tmp_path, "fetch", "--list", database_url=store_url)
    assert code == 1
    _, checked = run(tmp_path, "check", database_url=store_url)
    assert "Outlooks go on without it." in " ".join(checked.split())
    assert "air forecast of upper, Upper Alder (gridpoint): not fetched yet" in printed
    assert server.asked[0].path == "/points/45.1,-123.2"
