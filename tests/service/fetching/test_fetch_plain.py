"""Asking an address for delimited text or JSON that a layout describes."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest

from probes.feeds.contract import FeedAnswerError
from service.fetching.deliveries import Delivery, Span, Station
from service.fetching.plain import fetch_plain
from tests.http_server import HttpServer, Reply
from tests.logger_texts import layout

SPAN = Span(datetime(2025, 4, 1, 12, tzinfo=UTC), datetime(2025, 4, 3, 12, tzinfo=UTC))
TEXT = b"Time,10 cm,30 cm\n2025-04-01 09:00,7.5,6.1\n2025-04-01 10:00,,6.2\n"
RECORDS = [
    {"Time": "2025-04-01 09:00", "10 cm": 7.5, "30 cm": 6.1},
    {"Time": "2025-04-01 10:00", "10 cm": None, "30 cm": 6.2},
]
LISTS = {key: [one[key] for one in RECORDS] for key in RECORDS[0]}


def fetch(server: HttpServer, make: Any, path: str = "/ridge.csv", **spec: Any) -> list[Delivery]:
    spec = {"url": server.address + path, "records": None, **spec}
    station = Station("ridge", "plain", spec, -480, layout())
    return list(fetch_plain(make(), station, SPAN))


def readings(deliveries: list[Delivery]) -> list[tuple[str, list[float]]]:
    (delivery,) = deliveries
    file = delivery.readings.file
    return [
        (f"{instant:%H:%M}", [value for value in row if value == value])
        for instant, row in zip(file.observed_at.tolist(), file.soil_temp_c.tolist(), strict=True)
    ]


@pytest.mark.parametrize(
    ("body", "spec"),
    [
        pytest.param(TEXT, {}, id="text"),
        pytest.param(json.dumps(RECORDS).encode(), {"records": "."}, id="records"),
        pytest.param(
            json.dumps(
                {"data": {key: [one[key] for one in RECORDS] for key in RECORDS[0]}}
            ).encode(),
            {"records": "data"},
            id="lists",
        ),
    ],
)
def test_text_and_json_are_read_alike(
    server: HttpServer, make: Any, body: bytes, spec: dict[str, Any]
) -> None:
    server.say(Reply(body))
    deliveries = fetch(server, make, **spec)
    # by hand: 09:00 at UTC-08:00
    assert readings(deliveries) == [("17:00", [7.5, 6.1]), ("18:00", [6.2])]
    assert deliveries[0].readings.file.missing == 1
    assert deliveries[0].readings.depth_cm == {"10 cm": 10, "30 cm": 30}
    assert deliveries[0].content == body


def test_the_days_that_are_asked_for_stand_in_the_address(server: HttpServer, make: Any) -> None:
    server.say(Reply(TEXT))
    fetch(server, make, "/soil?from={since}&to={until}")
    assert [asked.path for asked in server.asked] == ["/soil?from=2025-03-31&to=2025-04-04"]


@pytest.mark.parametrize(
    ("body", "spec", "message"),
    [
        (b"<html>down</html>", {}, "/ridge.csv: .*10 cm"),
        (b"<html>down</html>", {"records": "."}, "/ridge.csv: the answer is no JSON"),
        (b'{"error": true}', {"records": "."}, "/ridge.csv: no list of records"),
        (b'[{"Time": "2025-04-01 09:00", "11 cm": 1}]', {"records": "."}, "/ridge.csv: .*10 cm"),
        (b"", {}, "/ridge.csv: .*empty"),
    ],
)
def test_what_is_not_as_declared_is_refused_with_its_address(
    server: HttpServer, make: Any, body: bytes, spec: dict[str, Any], message: str
) -> None:
    server.say(Reply(body))
    with pytest.raises(FeedAnswerError, match=message):
        fetch(server, make, **spec)
