"""A real SensorThings server [OGC-STA], read by our client and by another open one."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import Engine

from service.fetches import fetch_past
from service.fetching.deliveries import Span, Station
from service.fetching.http import Fetcher
from service.fetching.sensorthings import fetch_sensorthings
from service.store.engine import reading
from service.store.stations import fetch_stations
from tests.farms import farm_text, set_up
from tests.sensorthings_server import FAHRENHEIT, SensorThingsServer, read_by_other_client

SINCE = datetime(2026, 4, 1, tzinfo=UTC)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
HOURLY = [(SINCE + number * HOUR, 10 + number / 8) for number in range(250)]

Make = Callable[..., Fetcher]


def read_by_us(
    fetcher: Fetcher, address: str, datastream: str, span: Span
) -> list[tuple[datetime, float]]:
    """Return time and temperature of all readings, as often as they came."""
    spec = {"url": address, "datastreams": {datastream: 10}}
    deliveries = fetch_sensorthings(fetcher, Station("meadow", "sensorthings", spec, 0), span)
    return [
        (observed_at.replace(tzinfo=UTC), soil_temp_c)
        for delivery in deliveries
        for observed_at, (soil_temp_c,) in zip(
            delivery.readings.file.observed_at.tolist(),
            delivery.readings.file.soil_temp_c.tolist(),
            strict=True,
        )
    ]


def test_both_clients_read_the_same_from_a_real_server(
    things: SensorThingsServer, make: Make
) -> None:
    datastream = things.add_datastream()
    things.add_observations(datastream, reversed(HOURLY))
    ours = read_by_us(make(), things.address, datastream, Span(SINCE, SINCE + 20 * DAY))
    theirs = {row[1:] for row in read_by_other_client(things.address, datastream)}
    assert (sorted(ours), theirs) == (HOURLY, set(HOURLY))


def test_a_part_of_what_a_real_server_holds_is_read_in_its_unit(
    things: SensorThingsServer, make: Make
) -> None:
    datastream = things.add_datastream(FAHRENHEIT)
    things.add_observations(datastream, HOURLY[:150])
    ours = read_by_us(make(), things.address, datastream, Span(SINCE + 3 * DAY, SINCE + 4 * DAY))
    wanted = [row for row in HOURLY if SINCE + 2 * DAY <= row[0] <= SINCE + 4 * DAY]
    assert sorted(ours) == [
        (at, pytest.approx((f - 32) * 5 / 9, abs=1e-12)) for at, f in wanted
    ]  # [degC]


def test_other_datastreams_of_a_real_server_stay_out(
    things: SensorThingsServer, make: Make
) -> None:
    one, other = things.add_datastream(), things.add_datastream()
    things.add_observations(one, HOURLY[:120])
    things.add_observations(other, [(at, -result) for at, result in HOURLY[:20]])
    assert (
        sorted(read_by_us(make(), things.address, one, Span(SINCE, SINCE + 9 * DAY)))
        == (HOURLY[:120])
    )


@pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)
def test_the_past_of_a_network_is_taken_in_from_a_real_server(
    things: SensorThingsServer, make: Make, engine: Engine
) -> None:
    farm = farm_text()
    for name, begins in {"meadow": 2015, "ridge": 2020}.items():
        datastream = things.add_datastream()
        aprils = [datetime(year, 4, 1, tzinfo=UTC) for year in range(begins, 2021)]
        things.add_observations(
            datastream, [(april + hour * HOUR, 10 + hour) for april in aprils for hour in range(2)]
        )
        farm += f"""
[[station]]
id = "{name}"
site = "upper"
feed = "sensorthings"
url = "{things.address}"
datastreams = {{ "{datastream}" = 10 }}
allow_hosts = ["127.0.0.1"]
first_day = {begins}-01-01
"""
    set_up(engine, farm)

    def take_in(station_id: str | None = None) -> list[tuple[str, int, int, str | None]]:
        with reading(engine) as connection:
            stations = fetch_stations(connection, station_id)
        now = datetime(2020, 6, 1, tzinfo=UTC)
        return [
            (one.station_id, one.span.since.year, one.readings.inserted, one.failure)
            for station in stations
            for one in fetch_past(engine, lambda *_: make(), station, None, now)
        ]

    # by hand: two hours of each April; four years at once, 2015 and its eve at UTC+10:00 apart
    assert take_in() == [
        ("meadow", 2016, 10, None),
        ("meadow", 2014, 2, None),
        ("ridge", 2019, 2, None),
    ]
    assert take_in("ridge") == [("ridge", 2019, 0, None)]
