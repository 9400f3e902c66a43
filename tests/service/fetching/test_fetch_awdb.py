"""Asking the snow-and-soil network, played by a server on this machine."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest

from probes.feeds.contract import FeedAnswerError
from service.fetching.awdb import fetch_awdb
from service.fetching.deliveries import Span, Station
from service.fetching.http import Fetcher, PassingFetchError
from tests.http_server import Asked, HttpServer, Reply

TRIPLET = "2057:XX:SCAN"
DAY = timedelta(days=1)
SINCE = datetime(2026, 4, 1, tzinfo=UTC)
ELEMENT = {"elementCode": "STO", "ordinal": 1, "heightDepth": -2, "storedUnitCode": "degF"}

Make = Callable[..., Fetcher]


def query(asked: Asked) -> dict[str, str]:
    return {key: value for key, (value,) in parse_qs(urlsplit(asked.path).query).items()}


def hours(asked: Asked) -> Iterator[datetime]:
    """Yield the local hours of the days that a request asks for, both ends included."""
    first, last = (datetime.fromisoformat(query(asked)[key]) for key in ("beginDate", "endDate"))
    while first <= last:
        yield first
        first += timedelta(hours=1)


def network(zone: Any = -8, value: Callable[[datetime], Any] = lambda _: 50) -> Any:
    """Play a network that knows one station and has a value for every hour."""

    def answers(asked: Asked) -> Reply:
        entry: dict[str, Any] = {"stationTriplet": TRIPLET, "dataTimeZone": zone}
        if "/data?" in asked.path:
            rows = [
                {"date": f"{hour:%Y-%m-%d %H:%M}", "value": value(hour)} for hour in hours(asked)
            ]
            entry["data"] = [{"stationElement": ELEMENT, "values": rows}]
        return Reply(json.dumps([entry]).encode())

    return answers


def station(server: HttpServer, **spec: Any) -> Station:
    return Station("pass", "awdb", {"station": TRIPLET, "url": server.address, **spec}, -480)


def fetched(server: HttpServer, fetcher: Fetcher, days: int = 2, **spec: Any) -> list[Any]:
    """Return the deliveries of a span."""
    span = Span(SINCE, SINCE + days * DAY)
    return list(fetch_awdb(fetcher, station(server, **spec), span))


def test_every_hour_of_the_span_comes_at_its_instant(server: HttpServer, make: Make) -> None:
    server.answers = network(value=lambda hour: 32 + hour.hour)
    (delivery,) = fetched(server, make())
    file = delivery.readings.file
    noon = file.observed_at == np.datetime64("2026-04-01T20:00")  # by hand: 12:00 at UTC-08:00
    assert file.soil_temp_c[noon, 0].tolist() == [12 * 5 / 9]
    wanted = np.datetime64("2026-04-01T00:00") + np.arange(49) * np.timedelta64(1, "h")
    assert np.isin(wanted, file.observed_at).all()


def test_the_request_leaves_nothing_to_the_network(server: HttpServer, make: Make) -> None:
    server.answers = network()
    fetched(server, make())
    assert query(server.asked[1]) == {
        "stationTriplets": TRIPLET,
        "elements": "STO:*:*",
        "duration": "HOURLY",
        "beginDate": "2026-03-31",
        "endDate": "2026-04-03",
        "periodRef": "END",
        "centralTendencyType": "NONE",
        "returnFlags": "true",
        "returnOriginalValues": "false",
        "returnSuspectData": "true",
    }


def test_a_station_is_known_by_its_triplet_whether_it_still_reports_or_not(
    server: HttpServer, make: Make
) -> None:
    server.answers = network()
    fetched(server, make())
    assert query(server.asked[0]) == {"stationTriplets": TRIPLET, "activeOnly": "false"}


def test_what_is_asked_for_is_as_the_farm_file_says(server: HttpServer, make: Make) -> None:
    server.answers = network()
    fetched(server, make(), elements=["STO:-2:1", "STV:-8:*"])
    assert query(server.asked[1])["elements"] == "STO:-2:1,STV:-8:*"


def test_years_come_some_months_at_a_time_without_a_gap(server: HttpServer, make: Make) -> None:
    server.answers = network()
    deliveries = fetched(server, make(), days=400)
    assert [(one.until - SINCE) // DAY for one in deliveries] == [90, 180, 270, 360, 400]
    times = np.unique(np.concatenate([one.readings.file.observed_at for one in deliveries]))
    assert (np.diff(times) == np.timedelta64(1, "h")).all()


def test_a_network_without_a_clock_is_not_taken_for_utc(server: HttpServer, make: Make) -> None:
    server.answers = network(zone=None)
    with pytest.raises(FeedAnswerError, match="set utc_offset"):
        fetched(server, make())


def test_a_clock_that_the_farm_file_states_is_enough(server: HttpServer, make: Make) -> None:
    server.answers = network(zone=None, value=lambda hour: 32 + hour.hour)
    (delivery,) = fetched(server, make(), utc_offset="UTC-07:00")
    file = delivery.readings.file
    noon = file.observed_at == np.datetime64("2026-04-01T19:00")  # by hand: 12:00 at UTC-07:00
    assert file.soil_temp_c[noon, 0].tolist() == [12 * 5 / 9]


def test_nothing_found_is_a_delivery_without_readings(server: HttpServer, make: Make) -> None:
    server.say(Reply(json.dumps([{"stationTriplet": TRIPLET, "dataTimeZone": -8}]).encode()))
    server_says = server.answers
    server.answers = lambda asked: Reply(b"[]") if "/data?" in asked.path else server_says(asked)
    (delivery,) = fetched(server, make())
    assert (delivery.readings.file.line.size, delivery.until) == (0, SINCE + 2 * DAY)


def test_a_revised_value_comes_with_its_time_again(server: HttpServer, make: Make) -> None:
    server.answers = network(value=lambda _: 50)
    (first,) = fetched(server, make())
    server.answers = network(value=lambda _: 59)
    (second,) = fetched(server, make())
    assert first.content != second.content
    assert (second.readings.file.soil_temp_c == 15.0).all()  # by hand: 59 °F


@pytest.mark.parametrize(
    "lie", [b'{"status": 500, "message": "no"}', b"<html>busy</html>", b'[{"stationTri', b"[1]"]
)
def test_an_error_in_the_guise_of_an_answer_is_an_error(
    server: HttpServer, make: Make, lie: bytes
) -> None:
    good = network()
    server.answers = lambda asked: Reply(lie) if "/data?" in asked.path else good(asked)
    with pytest.raises(FeedAnswerError):
        fetched(server, make())


@pytest.mark.parametrize(
    "fault",
    [Reply(status=429, headers={"Retry-After": "7"}), Reply(status=503), Reply(b"[]" * 9, cut=3)],
    ids=["too many requests", "unavailable", "truncated"],
)
def test_a_fault_that_passes_loses_nothing(server: HttpServer, make: Make, fault: Reply) -> None:
    good, faults = network(), [fault, fault]
    server.answers = lambda asked: faults.pop() if faults else good(asked)
    (delivery,) = fetched(server, make())
    assert delivery.readings.file.line.size == 4 * 24 - 23  # by hand: three days and a midnight


def test_a_fault_that_stays_passes_through(server: HttpServer, make: Make) -> None:
    server.say(Reply(status=503))
    with pytest.raises(PassingFetchError):
        fetched(server, make())
