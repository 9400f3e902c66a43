"""Asking for the climate reference network's files: years, names, formats, days."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from probes.feeds.contract import FeedAnswerError, NothingThereError
from service.fetching.crn import fetch_crn
from service.fetching.deliveries import Delivery, Span, Station
from tests.crn_files import WBAN, by_year, daily_lines, hourly_lines
from tests.http_server import Asked, HttpServer, Reply

HOURLY = "/hourly02/{year}/CRNH0203-{year}-XX_Low_Bench_3_N.txt"
DAILY = "/daily01/{year}/CRND0103-{year}-XX_Low_Bench_3_N.txt"
NEW_YEAR = datetime(2025, 12, 31, 22, tzinfo=UTC)
SIX_HOURS = [[step / 10, 1, 2, 3, 4] for step in range(6)]


def serve(server: HttpServer, files: dict[str, bytes]) -> None:
    def answers(asked: Asked) -> Reply:
        body = files.get(asked.path)
        return Reply(b"not found", 404) if body is None else Reply(body)

    server.answers = answers


def fetch(server: HttpServer, make: Any, since: datetime, until: datetime, **changes: Any):
    spec = {"station": "XX_Low_Bench_3_N", "wban": WBAN, "url": server.address}
    station = Station("b1", changes.pop("feed", "crn-hourly"), spec, changes.pop("offset", -480))
    return list(fetch_crn(make(**changes), station, Span(since, until)))


def instants(deliveries: list[Delivery]) -> list[str]:
    return [
        f"{instant:%Y-%m-%d %H}"
        for one in deliveries
        for instant in one.readings.file.observed_at.tolist()
    ]


def test_a_span_over_new_year_is_read_from_both_years(server: HttpServer, make: Any) -> None:
    serve(server, dict(by_year(hourly_lines(NEW_YEAR, SIX_HOURS), HOURLY)))
    deliveries = fetch(server, make, NEW_YEAR, datetime(2026, 1, 1, 2, tzinfo=UTC))
    assert instants(deliveries) == [
        *("2025-12-31 22", "2025-12-31 23"),
        *("2026-01-01 00", "2026-01-01 01", "2026-01-01 02"),
    ]
    assert deliveries[0].until == datetime(2026, 1, 1, tzinfo=UTC)


def test_a_year_without_a_file_is_no_fault(server: HttpServer, make: Any) -> None:
    files = dict(by_year(hourly_lines(NEW_YEAR, SIX_HOURS), HOURLY))
    serve(server, {path: body for path, body in files.items() if "2025" in path})
    since, until = datetime(2023, 6, 1, tzinfo=UTC), datetime(2026, 1, 1, 5, tzinfo=UTC)
    assert instants(fetch(server, make, since, until)) == ["2025-12-31 22", "2025-12-31 23"]


@pytest.mark.parametrize(
    ("names", "message"),
    [
        pytest.param(
            "CRNH0204-2025-XX_Low_Bench_3_N",
            "CRNH0204-2025-XX_Low_Bench_3_N.txt is in another format than "
            "CRNH0203-2025-XX_Low_Bench_3_N.txt; this version cannot read it",
            id="a new format",
        ),
        pytest.param(
            "CRNH0203-2025-XX_Low_Bench_3_NE",
            "no file of station XX_Low_Bench_3_N; there is XX_Low_Bench_3_NE",
            id="another name",
        ),
    ],
)
def test_a_file_that_is_not_there_is_explained(
    server: HttpServer, make: Any, names: str, message: str
) -> None:
    serve(server, {"/hourly02/2025/": f'<a href="{names}.txt">{names}.txt</a>'.encode()})
    summer = datetime(2025, 7, 1, tzinfo=UTC)
    with pytest.raises(FeedAnswerError) as told:
        fetch(server, make, summer, summer)
    assert message in str(told.value)


def test_a_folder_that_is_not_there_is_said_with_its_address(server: HttpServer, make: Any) -> None:
    serve(server, {})
    summer = datetime(2025, 7, 1, tzinfo=UTC)
    with pytest.raises(NothingThereError, match=r"_Low_Bench_3_N.txt: answers 404"):
        fetch(server, make, summer, summer)


def test_an_error_text_in_place_of_a_file_is_said_with_its_address(
    server: HttpServer, make: Any
) -> None:
    serve(server, {HOURLY.format(year=2025): b"<html>down for maintenance</html>"})
    summer = datetime(2025, 7, 1, tzinfo=UTC)
    with pytest.raises(FeedAnswerError, match=r"/CRNH0203-.*: no record of hourly02 .*<html>down"):
        fetch(server, make, summer, summer)


def test_a_day_ends_at_midnight_of_the_station_and_its_site(server: HttpServer, make: Any) -> None:
    day = datetime(2025, 4, 1, tzinfo=UTC)
    files = {
        **by_year(hourly_lines(day, SIX_HOURS), HOURLY),
        **by_year(daily_lines(day, SIX_HOURS), DAILY),
    }
    serve(server, files)
    until = datetime(2025, 4, 3, tzinfo=UTC)
    deliveries = fetch(server, make, day, until, feed="crn-daily")
    assert instants(deliveries) == ["2025-04-02 08"]  # by hand: midnight of UTC-08:00


def test_days_that_are_not_those_of_the_site_are_refused(server: HttpServer, make: Any) -> None:
    day = datetime(2025, 4, 1, tzinfo=UTC)
    files = {
        **by_year(hourly_lines(day, SIX_HOURS, utc_offset_min=-420), HOURLY),
        **by_year(daily_lines(day, SIX_HOURS), DAILY),
    }
    serve(server, files)
    with pytest.raises(FeedAnswerError, match='set utc_offset = "UTC-07:00" for its site'):
        fetch(server, make, day, day, feed="crn-daily")


def test_a_file_that_has_not_changed_gives_nothing(server: HttpServer, make: Any) -> None:
    server.answers = lambda asked: Reply(status=304 if "If-None-Match" in asked.headers else 404)
    summer = datetime(2025, 7, 1, tzinfo=UTC)
    url = f"{server.address}{HOURLY.format(year=2025)}"
    assert fetch(server, make, summer, summer, known={url: {"If-None-Match": '"1"'}}) == []
