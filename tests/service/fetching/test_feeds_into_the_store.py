"""Feeds of JSON from the farm file to the store: each reading once, however often it is fetched."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import Engine, select

from service.fetches import FetchReport, fetch_days
from service.fetching.http import Fetcher
from service.store import tables
from service.store.engine import reading
from service.store.stations import StationRow, fetch_stations
from tests.farms import farm_text, set_up
from tests.http_server import Asked, HttpServer, Reply
from tests.sensorthings_server import SensorThingsServer
from tests.service.fetching.things_on_paper import Things, observation

SINCE = datetime(2026, 4, 1, tzinfo=UTC)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
HOURLY = [(SINCE + number * HOUR, 10 + number / 8) for number in range(120)]
NOW = SINCE + 6 * DAY


def set_up_station(engine: Engine, feed: str, keys: str) -> None:
    station = f'[[station]]\nid = "meadow"\nsite = "upper"\nfeed = "{feed}"\n{keys}'
    local = '\nallow_hosts = ["127.0.0.1"]\n'
    set_up(engine, farm_text(north=True) + station + local)


def fetch(engine: Engine) -> FetchReport:
    """Fetch all days there are."""

    def make(station: StationRow, _: Any) -> Fetcher:
        hosts = station.spec["allow_hosts"]
        return Fetcher(allow_hosts=hosts, between_requests_s=0, sleep=lambda _: None)

    with reading(engine) as connection:
        (station,) = fetch_stations(connection)
    return fetch_days(engine, make, station, date(2026, 3, 20), None, NOW)


def stored(engine: Engine) -> list[tuple[float, datetime, float]]:
    """Return depth, instant and value of every reading."""
    of_probe = tables.probe_stretch.c.probe_id == tables.reading.c.probe_id
    columns = (tables.reading.c.observed_at, tables.reading.c.soil_temp_c)
    query = select(tables.probe_stretch.c.depth_cm, *columns).join(tables.probe_stretch, of_probe)
    with reading(engine) as connection:
        return sorted(tuple(row) for row in connection.execute(query))


def network(revised: float = 0.0) -> Any:
    """Play the snow-and-soil network: two depths in °F, the first hour of one of them revised."""

    def answers(asked: Asked) -> Reply:
        entry: dict[str, Any] = {"stationTriplet": "2057:XX:SCAN", "dataTimeZone": -8}
        if "/data?" in asked.path:
            entry["data"] = [
                {
                    "stationElement": {
                        "elementCode": "STO",
                        "ordinal": 1,
                        "heightDepth": inches,
                        "storedUnitCode": "degF",
                    },
                    "values": [
                        {
                            "date": f"{at - 8 * HOUR:%Y-%m-%d %H:%M}",
                            "value": 50 - inches + (revised if number == 0 else 0.0),
                        }
                        for number, (at, _) in enumerate(HOURLY)
                    ],
                }
                for inches in (-4, -20)
            ]
        return Reply(json.dumps([entry]).encode())

    return answers


# by hand: 4 in = 10.16 cm, 54 °F; 20 in = 50.8 cm, 70 °F
AT_TWO_DEPTHS = [
    (depth_cm, at, (temp_f - 32) * 5 / 9)
    for depth_cm, temp_f in ((10.16, 54.0), (50.8, 70.0))
    for at, _ in HOURLY
]


def test_the_network_s_readings_are_kept_once(engine: Engine, server: HttpServer) -> None:
    set_up_station(engine, "awdb", f'station = "2057:XX:SCAN"\nurl = "{server.address}"')
    server.answers = network()
    assert [fetch(engine).readings.inserted for _ in range(2)] == [240, 0]
    assert stored(engine) == AT_TWO_DEPTHS


def test_a_value_that_the_network_revises_is_listed(engine: Engine, server: HttpServer) -> None:
    set_up_station(engine, "awdb", f'station = "2057:XX:SCAN"\nurl = "{server.address}"')
    server.answers = network()
    fetch(engine)
    server.answers = network(revised=1.0)
    assert fetch(engine).readings.conflicting == 2
    assert stored(engine) == AT_TWO_DEPTHS


def test_a_network_without_a_clock_brings_in_nothing(engine: Engine, server: HttpServer) -> None:
    set_up_station(engine, "awdb", f'station = "2057:XX:SCAN"\nurl = "{server.address}"')
    unstated = json.dumps([{"stationTriplet": "2057:XX:SCAN", "dataTimeZone": None}])
    server.say(Reply(unstated.encode()))
    assert 'set utc_offset = "UTC-08:00"' in (fetch(engine).failure or "")
    assert stored(engine) == []


@pytest.mark.parametrize("orders", [("phenomenonTime",), ()], ids=["in order", "by links"])
def test_a_server_s_observations_are_kept_once(
    engine: Engine, server: HttpServer, orders: tuple[str, ...]
) -> None:
    keys = f'url = "{server.address}/v1.1"\ndatastreams = {{ "7" = 10 }}'
    set_up_station(engine, "sensorthings", keys)
    rows = [observation(number, at.isoformat(), temp) for number, (at, temp) in enumerate(HOURLY)]
    server.answers = Things(rows[::-1], top=50, orders=orders)
    assert [fetch(engine).readings.inserted for _ in range(2)] == [120, 0]
    assert stored(engine) == [(10.0, *row) for row in HOURLY]


def test_a_real_server_s_observations_are_kept_once(
    engine: Engine, things: SensorThingsServer
) -> None:
    datastream = things.add_datastream()
    things.add_observations(datastream, HOURLY)
    keys = f'url = "{things.address}"\ndatastreams = {{ "{datastream}" = 10 }}'
    set_up_station(engine, "sensorthings", keys)
    reports = [fetch(engine) for _ in range(2)]
    assert [report.readings.inserted for report in reports] == [120, 0]
    assert [report.readings.conflicting for report in reports] == [0, 0]
    assert stored(engine) == [(10.0, *row) for row in HOURLY]
