"""Asking SensorThings servers for all of a span, however they page, order, filter and fail."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from probes.feeds.contract import FeedAnswerError
from service.fetching import sensorthings
from service.fetching.deliveries import Delivery, Span, Station
from service.fetching.http import Fetcher, PassingFetchError, PermanentFetchError
from service.fetching.sensorthings import fetch_sensorthings
from tests.http_server import Asked, HttpServer, Reply
from tests.service.fetching.things_on_paper import STREAM, Things, observation, reply

SINCE = datetime(2026, 4, 1, tzinfo=UTC)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)

Make = Callable[..., Fetcher]


def hourly(count: int, since: datetime = SINCE) -> list[dict[str, Any]]:
    """Return observations of 0, 1, 2, .. °C, an hour apart, the newest first as servers do."""
    rows = [
        observation(number, (since + number * HOUR).isoformat(), float(number))
        for number in range(count)
    ]
    return rows[::-1]


def fetched(server: HttpServer, fetcher: Fetcher, until: datetime = SINCE + DAY) -> list[Delivery]:
    spec = {"url": f"{server.address}/v1.1/", "datastreams": {"7": 10}}
    station = Station("meadow", "sensorthings", spec, 0)
    return list(fetch_sensorthings(fetcher, station, Span(SINCE, until)))


def readings(deliveries: list[Delivery]) -> list[tuple[datetime, float]]:
    """Return time and temperature of all readings, as often as they came, in time order."""
    files = [delivery.readings.file for delivery in deliveries]
    return sorted(
        (observed_at.replace(tzinfo=UTC), soil_temp_c)
        for file in files
        for observed_at, (soil_temp_c,) in zip(
            file.observed_at.tolist(), file.soil_temp_c.tolist(), strict=True
        )
    )


ALL_TEN = [(SINCE + number * HOUR, float(number)) for number in range(10)]


def other_host(link: str | None) -> str | None:
    return link and f"http://169.254.169.254{link}"


@pytest.mark.parametrize(
    "things",
    [
        Things(hourly(10)),
        Things(hourly(10), top=100),
        Things(hourly(10), link=lambda _: None),
        Things(hourly(10), link=lambda _: f"{STREAM}/Observations?$skip=0"),
        Things(hourly(10), link=lambda _: "/v1.1/Observations?$skip=3"),
        Things(hourly(10), link=other_host),
        Things(hourly(10), link=lambda link: link and link.replace(STREAM, "/v1.1")),
        Things(hourly(10), orders=()),
        Things(hourly(10), orders=("resultTime",)),
        Things(hourly(10), obeys_order=False),
        Things(hourly(10), filters=False),
        Things(hourly(10), orders=(), link=lambda link: link and f"http://{{}}{link}"),
    ],
    ids=[
        "in order",
        "on one page",
        "a next link is missing",
        "the next link leads back",
        "there is always a next link, of all datastreams",
        "the next link leads elsewhere: not needed",
        "the next link has lost its datastream: not needed",
        "500 on any order",
        "500 on order by time",
        "the order is ignored",
        "the filter is ignored",
        "absolute links",
    ],
)
def test_each_observation_comes_once(server: HttpServer, make: Make, things: Things) -> None:
    link = things.link
    things.link = lambda right: (made := link(right)) and made.format(server.address[7:])
    server.answers = things
    assert readings(fetched(server, make())) == ALL_TEN


def test_a_server_that_cannot_order_is_asked_only_once_to(
    server: HttpServer, make: Make, waits: list[float]
) -> None:
    server.answers = Things(hourly(2), orders=())
    fetched(server, make())
    assert len([asked for asked in server.asked if "$orderby=phenomenonTime" in asked.path]) == 1
    assert waits == []


def test_a_server_that_orders_by_another_time_is_asked_for_that(
    server: HttpServer, make: Make
) -> None:
    server.answers = Things(hourly(10), orders=("resultTime",))
    fetched(server, make())
    pages = [asked.path for asked in server.asked if "$filter" in asked.path]
    assert [path for path in pages[1:] if "resultTime" not in path] == []
    assert ["$top=1000" in path for path in pages] == [True] + [False] * (len(pages) - 1)


def test_a_server_that_ignores_the_filter_is_read_through_once(
    server: HttpServer, make: Make
) -> None:
    server.answers = Things(hourly(100), top=10, filters=False)
    came = readings(fetched(server, make(), SINCE + 5 * DAY))
    # by hand: the unit, 7 pages until one lies a day before what was asked for, 10 by links
    assert (len(came), len(server.asked)) == (100, 18)


@pytest.mark.parametrize("orders", [("phenomenonTime",), ()], ids=["in order", "by links"])
def test_a_next_link_that_is_always_there_ends(
    server: HttpServer, make: Make, orders: tuple[str, ...]
) -> None:
    calls = iter(range(10_000))
    server.answers = Things(
        hourly(10),
        orders=orders,
        link=lambda link: link or f"{STREAM}/Observations?$skip={next(calls) + 90}",
    )
    assert readings(fetched(server, make())) == ALL_TEN
    assert len(server.asked) < 20


def test_a_link_to_itself_ends(server: HttpServer, make: Make) -> None:
    things = Things(hourly(3), orders=())
    server.answers = lambda asked: _linked_to_itself(things, asked)
    assert readings(fetched(server, make())) == ALL_TEN[:3]
    assert len(server.asked) < 7


def _linked_to_itself(things: Things, asked: Asked) -> Reply:
    things.link = lambda _: asked.path
    return things(asked)


@pytest.mark.parametrize(
    ("link", "what"),
    [
        (other_host, "another server"),
        (lambda link: link and link.replace(STREAM, "/v1.1"), "something else"),
    ],
    ids=["another server", "all datastreams"],
)
def test_a_link_that_leads_astray_is_not_followed(
    server: HttpServer, make: Make, link: Callable[[str | None], str | None], what: str
) -> None:
    server.answers = Things(hourly(10), orders=(), link=link)
    with pytest.raises(FeedAnswerError, match=what):
        fetched(server, make())
    assert all(STREAM in asked.path for asked in server.asked)


def test_pages_without_end_are_given_up(
    server: HttpServer, make: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sensorthings, "MOST_PAGES", 5)
    server.answers = Things(hourly(10), top=1, orders=())
    with pytest.raises(FeedAnswerError, match="more than 5 pages"):
        fetched(server, make())


@pytest.mark.parametrize("orders", [("phenomenonTime",), ()], ids=["in order", "by links"])
def test_observations_that_arrive_in_between_push_none_out(
    server: HttpServer, make: Make, orders: tuple[str, ...]
) -> None:
    arriving = hourly(14)[:4]

    def arrive(rows: list[dict[str, Any]]) -> None:
        if arriving:
            rows.insert(0, arriving.pop())

    server.answers = Things(hourly(10), orders=orders, before_each=arrive)
    came = readings(fetched(server, make()))
    assert [reading for reading in came if reading in ALL_TEN] == ALL_TEN


def test_several_observations_of_one_instant_fill_more_than_a_page(
    server: HttpServer, make: Make
) -> None:
    rows = [observation(number, SINCE.isoformat(), float(number)) for number in range(8)]
    server.answers = Things(rows)
    assert [value for _, value in readings(fetched(server, make()))] == list(range(8))


def test_an_interval_that_begins_before_the_span_comes_with_it(
    server: HttpServer, make: Make
) -> None:
    interval = f"{(SINCE - HOUR).isoformat()}/{(SINCE + HOUR).isoformat()}"
    server.answers = Things([observation(1, interval)])
    assert readings(fetched(server, make())) == [(SINCE + HOUR, 10.0)]


def test_what_is_no_reading_is_told_and_the_rest_counts(server: HttpServer, make: Make) -> None:
    rows = [
        observation(number, (SINCE + number * HOUR).isoformat(), result)
        for number, result in enumerate([True, "warm", None, "7", 7.5])
    ]
    server.answers = Things(rows, top=100)
    (delivery,) = fetched(server, make())
    file = delivery.readings.file
    assert (len(file.rejects), file.missing, file.soil_temp_c[1:, 0].tolist()) == (2, 1, [7.0, 7.5])
    assert [reject.line for reject in file.rejects] == [1, 2]


def test_the_unit_of_the_datastream_is_honoured(server: HttpServer, make: Make) -> None:
    unit = {"name": "degree Fahrenheit", "symbol": "degF", "definition": ""}
    server.answers = Things([observation(1, SINCE.isoformat(), 64.0)], unit=unit)
    assert readings(fetched(server, make())) == [(SINCE, (64.0 - 32) * 5 / 9)]


def test_a_datastream_of_another_unit_is_refused_by_name(server: HttpServer, make: Make) -> None:
    server.answers = Things(hourly(1), unit={"name": "Kelvin", "symbol": "K", "definition": ""})
    with pytest.raises(FeedAnswerError, match="datastream 7: unit with symbol 'K'"):
        fetched(server, make())


def test_a_datastream_that_is_not_there_is_for_a_person(server: HttpServer, make: Make) -> None:
    with pytest.raises(PermanentFetchError, match="answers 404"):
        fetched(server, make())


def test_a_span_is_done_month_by_month(server: HttpServer, make: Make) -> None:
    server.answers = Things(hourly(3))
    deliveries = fetched(server, make(), SINCE + 70 * DAY)
    done = [(one.until - SINCE) // DAY for one in deliveries]
    assert (done, readings(deliveries)) == ([30, 60, 70], ALL_TEN[:3])


def test_times_hold_no_plus_that_a_server_puts_bare_into_its_links(
    server: HttpServer, make: Make
) -> None:
    server.answers = Things(hourly(1))
    fetched(server, make())
    assert "ge%202026-03-31T00:00:00Z%20and" in server.asked[1].path


@pytest.mark.parametrize(
    "fault",
    [Reply(status=429), Reply(status=503), Reply(b'{"value": []}', cut=3), Reply(hang_s=0.4)],
    ids=["too many requests", "unavailable", "truncated", "slow"],
)
def test_a_fault_that_passes_loses_and_doubles_nothing(
    server: HttpServer, make: Make, fault: Reply
) -> None:
    things, turn = Things(hourly(10)), iter(range(1000))
    server.answers = lambda asked: fault if next(turn) % 2 == 0 else things(asked)
    assert readings(fetched(server, make(read_timeout_s=0.2))) == ALL_TEN


def test_a_500_in_the_middle_is_tried_again(server: HttpServer, make: Make) -> None:
    things, turn = Things(hourly(10)), iter(range(1000))
    server.answers = lambda asked: Reply(status=500) if next(turn) == 3 else things(asked)
    assert readings(fetched(server, make())) == ALL_TEN


@pytest.mark.parametrize("lie", [{"code": 500, "message": "no"}, {"value": {}}, [], {"value": [1]}])
def test_an_error_in_the_guise_of_an_answer_is_an_error(
    server: HttpServer, make: Make, lie: Any
) -> None:
    things = Things(hourly(10))
    server.answers = lambda asked: reply(lie) if "Observations" in asked.path else things(asked)
    with pytest.raises(FeedAnswerError, match="no page of observations"):
        fetched(server, make())


def test_a_fault_that_stays_passes_through(server: HttpServer, make: Make) -> None:
    things = Things(hourly(10))
    server.answers = lambda asked: (
        Reply(status=503) if "Observations" in asked.path else things(asked)
    )
    with pytest.raises(PassingFetchError):
        fetched(server, make())
