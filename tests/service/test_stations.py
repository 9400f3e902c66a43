"""Stations of the farm file in the store, and back."""

from __future__ import annotations

import pytest
from sqlalchemy import select

from service.farm.export import farm_text
from service.farm.problems import FarmFileError
from service.store import tables
from service.store.engine import reading
from service.store.loggers import fetch_logger
from tests import farms
from tests.farms import STATION, STATION_ELSEWHERE, news, set_up, stored_farm

FARM = farms.farm_text(north=True)
WITH_STATION = FARM + STATION_ELSEWHERE
THINGS = """
[[station]]
id = "b1"
site = "upper"
feed = "sensorthings"
url = "https://things.example.org/v1.1"
datastreams = { 12 = 10 }
first_day = 2025-01-01
allow_hosts = ["things.example.org"]
"""


def interval_min(engine, logger_id="b1"):
    with reading(engine) as connection:
        return fetch_logger(connection, logger_id).interval_min


@pytest.mark.parametrize("station", [STATION_ELSEWHERE, THINGS])
def test_a_station_goes_into_the_store_and_comes_back_as_it_was_written(engine, station):
    added = news(set_up(engine, FARM + station))
    assert ("added", "station", "b1") in added
    assert news(set_up(engine, FARM + station)) == []
    assert station.partition("[[station]]")[2] in farm_text(stored_farm(engine))


def test_a_station_is_a_logger_without_files(engine):
    set_up(engine, WITH_STATION)
    query = select(tables.logger.c.kind, tables.logger.c.site_id, tables.logger.c.layout_name)
    with reading(engine) as connection:
        rows = [*connection.execute(query.order_by(tables.logger.c.id))]
    assert rows == [("station", "bench", None), ("files", "upper", "plain")]


@pytest.mark.parametrize(
    ("feed", "expected_min"), [("crn-hourly", 60), ("crn-daily", 1440), ("crn-5min", 5)]
)
def test_a_feed_has_its_own_interval(engine, feed, expected_min):
    set_up(engine, WITH_STATION.replace("crn-hourly", feed))
    assert interval_min(engine) == expected_min


def test_a_plain_station_has_the_interval_of_its_layout(engine):
    plain = THINGS.replace("sensorthings", "plain").replace(
        "datastreams = { 12 = 10 }", 'layout = "plain"'
    )
    set_up(engine, farms.farm_text(interval_min=30) + plain)
    assert interval_min(engine) == 30


def test_a_station_is_retired_and_returns(engine):
    set_up(engine, FARM + STATION)
    assert news(set_up(engine, FARM, retire=True)) == [("retired", "station", "b1")]
    assert dict(stored_farm(engine).station) == {}
    assert news(set_up(engine, FARM + STATION)) == [("returned", "station", "b1")]


def test_a_station_is_not_called_as_a_retired_logger(engine):
    more = '[[logger]]\nid = "b1"\nsite = "upper"\nlayout = "plain"\n'
    set_up(engine, FARM + more)
    set_up(engine, FARM, retire=True)
    with pytest.raises(FarmFileError, match="a retired logger or station or thermometer"):
        set_up(engine, FARM + STATION)


def test_a_block_names_the_probes_of_a_station_at_another_site(engine):
    text = WITH_STATION.replace('name = "Terrace 7"', 'name = "Terrace 7"\nprobes = ["b1:20"]')
    set_up(engine, text)
    assert stored_farm(engine).block["terrace-7"].probes == ("b1:20",)
