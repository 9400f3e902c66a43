"""All that a network has of a station, back to its beginning, in one go or in several."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime

import pytest
from sqlalchemy import Engine

from service.fetches import FetchReport, fetch_past
from tests import farms
from tests.crn_files import hourly_lines
from tests.farms import STATION_ELSEWHERE, set_up
from tests.http_server import HttpServer, Reply, http_server
from tests.service.test_fetches import HOURS, NOW, files_of, make, stored, the_station

pytestmark = pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)

BEGINS = [datetime(year, 6, 1, 9, tzinfo=UTC) for year in (2016, 2019, 2023)]
EACH = 2 * 48  # by hand: two depths, 48 hours
LINES = [line for begin in BEGINS for line in hourly_lines(begin, HOURS)]


@pytest.fixture
def server() -> Iterator[HttpServer]:
    with http_server(files_of(LINES)) as running:
        yield running


@pytest.fixture
def farm(engine: Engine, server: HttpServer) -> Engine:
    """A store with a station, at a site for study only, that has never been fetched."""
    site = STATION_ELSEWHERE.replace('id = "bench"', 'id = "bench"\nstudy_only = true', 1)
    url = f'url = "{server.address}"\nallow_hosts = ["127.0.0.1"]\n'
    set_up(engine, farms.farm_text(north=True) + site + url)
    return engine


def take_in(engine: Engine, first: date | None = None) -> list[FetchReport]:
    return list(fetch_past(engine, make, the_station(engine), first, NOW))


def tell(reports: list[FetchReport]) -> list[tuple[int, int, bool]]:
    """Return of each report the year it begins with, what is new, and whether it failed."""
    return [(one.span.since.year, one.readings.inserted, bool(one.failure)) for one in reports]


def years_of(server: HttpServer) -> list[int]:
    return [int(asked.path.split("/")[-2]) for asked in server.asked]


def test_it_goes_back_to_where_nothing_comes_any_more(farm: Engine, server: HttpServer) -> None:
    assert tell(take_in(farm)) == [(2021, EACH, False), (2017, EACH, False), (2013, EACH, False)]
    assert len(stored(farm)) == 3 * EACH
    assert {day.year for _, day, _ in stored(farm)} == {2016, 2019, 2023}
    # by hand: four years more, and one beside them
    assert min(years_of(server)) == 2008


def test_a_day_ends_it(farm: Engine, server: HttpServer) -> None:
    assert tell(take_in(farm, date(2019, 1, 1))) == [(2021, EACH, False), (2019, EACH, False)]
    assert min(years_of(server)) == 2018  # the one beside


def test_what_breaks_off_is_taken_up(farm: Engine, server: HttpServer) -> None:
    whole = server.answers
    server.answers = lambda asked: Reply(b"no", 403) if "2019" in asked.path else whole(asked)
    assert tell(take_in(farm)) == [(2021, EACH, False), (2017, 0, True)]
    server.answers = whole
    assert [inserted for _, inserted, _ in tell(take_in(farm))] == [0, EACH, EACH]
    assert len(stored(farm)) == 3 * EACH


def test_a_station_that_is_not_there_is_said(farm: Engine, server: HttpServer) -> None:
    server.say(Reply(b"gone", 404))
    (report,) = take_in(farm)
    assert report.failure is not None
    assert report.is_absent
