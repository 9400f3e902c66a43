"""SensorThings answers: units, times, results, links, and what servers make of them."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given

from probes.feeds.contract import FeedAnswerError
from probes.feeds.sensorthings import (
    Observation,
    check_next,
    datastream_path,
    read_page,
    read_unit,
)
from tests.probes.feeds.json_answers import json_values

URL = "https://things.example/v1.1/Datastreams(7)/Observations?$top=2"
QUDT = "http://www.qudt.org/qudt/owl/1.0.0/unit/Instances.html#Degree"


def unit_of(symbol: object = "", definition: object = "") -> str:
    unit = {"name": "any", "symbol": symbol, "definition": definition}
    return read_unit({"unitOfMeasurement": unit})


def observation(**fields: Any) -> Observation:
    """Return the one observation of a page, as it is read."""
    row = {"@iot.id": 1, "phenomenonTime": "2018-04-01T08:00:00Z", "result": 11.0, **fields}
    return read_page({"value": [row]}, URL, "C").observations[0]


@pytest.mark.parametrize(
    ("datastream", "path"),
    [
        ("7", "Datastreams(7)"),
        ("'7'", "Datastreams('7')"),
        ("01a2-b3", "Datastreams('01a2-b3')"),
        ("vine's end", "Datastreams('vine''s%20end')"),
        ("a/b?c#d", "Datastreams('a%2Fb%3Fc%23d')"),
    ],
)
def test_an_id_is_a_number_or_text_in_quotes(datastream: str, path: str) -> None:
    assert datastream_path(datastream) == path


@pytest.mark.parametrize("symbol", ["degC", "°C", "Cel", "\N{DEGREE CELSIUS}", " degC "])
def test_celsius_is_known_by_its_symbols(symbol: str) -> None:
    assert unit_of(symbol, "http://unitsofmeasure.org/ucum.html#para-30") == "C"


@pytest.mark.parametrize("symbol", ["degF", "°F", "[degF]"])
def test_fahrenheit_is_known_by_its_symbols(symbol: str) -> None:
    assert unit_of(symbol) == "F"


@pytest.mark.parametrize(
    ("definition", "unit"),
    [
        (f"{QUDT}Celsius", "C"),
        (f"{QUDT}Fahrenheit", "F"),
        ("https://qudt.org/vocab/unit/DEG_F", "F"),
        ("http://qudt.org/vocab/unit/DEG_C/", "C"),
    ],
)
def test_a_definition_says_the_unit_whatever_the_symbol_is(definition: str, unit: str) -> None:
    assert unit_of("deg", definition) == unit


@pytest.mark.parametrize("symbol", ["K", "C", "F", "", None, "%", 7])
def test_another_unit_is_refused(symbol: object) -> None:
    with pytest.raises(FeedAnswerError, match="not known to be °C or °F"):
        unit_of(symbol)


def test_a_unit_that_contradicts_itself_is_refused() -> None:
    with pytest.raises(FeedAnswerError, match="contradict"):
        unit_of("degF", f"{QUDT}Celsius")


@pytest.mark.parametrize("lie", [{}, None, [], {"unitOfMeasurement": "degC"}])
def test_a_datastream_without_unit_is_refused(lie: object) -> None:
    with pytest.raises(FeedAnswerError, match="no unitOfMeasurement"):
        read_unit(lie)


def test_results_are_read_in_celsius() -> None:
    row = {"phenomenonTime": "2018-04-01T08:00:00Z", "result": 64.0}
    (read,) = read_page({"value": [row]}, URL, "F").observations
    assert read.record.soil_temp_c == (64.0 - 32) * 5 / 9


@pytest.mark.parametrize(
    "time",
    [
        "2018-04-01T08:00:00Z",
        "2018-04-01T08:00:00.000+00:00",
        "2018-04-01T00:00:00-08:00",
        "2018-04-01T07:00:00Z/2018-04-01T08:00:00Z",
        "2018-03-31T23:00:00-08:00/2018-04-01T00:00:00-08:00",
    ],
)
def test_a_time_is_an_instant_or_the_end_of_an_interval(time: str) -> None:
    expected = datetime(2018, 4, 1, 8, tzinfo=UTC)
    assert observation(phenomenonTime=time).record.observed_at == expected


def test_an_interval_begins_where_it_begins() -> None:
    time = "2018-04-01T07:00:00Z/2018-04-01T08:00:00Z"
    assert observation(phenomenonTime=time).begins_at == datetime(2018, 4, 1, 7, tzinfo=UTC)


@pytest.mark.parametrize(
    ("time", "why"),
    [
        ("2018-04-01T08:00:00", "states no zone"),
        ("2018-04-01T07:00:00Z/2018-04-01T08:00:00", "states no zone"),
        ("2018-04-01T08:00:00Z/2018-04-01T07:00:00Z", "ends before it begins"),
        ("2018-04-01T08:00:00Z/", "neither an instant nor an interval"),
        ("2018-04-01T08:00:00Z/PT1H", "neither an instant nor an interval"),
        ("a/b/c", "neither an instant nor an interval"),
        ("1 April 2018", "neither an instant nor an interval"),
        (None, "neither an instant nor an interval"),
        (1522569600, "neither an instant nor an interval"),
        ("0001-01-01T00:00:00+14:00", "outside 1901 to 2199"),
        ("9999-12-31T23:59:59-12:00", "outside 1901 to 2199"),
    ],
)
def test_a_time_that_is_not_known_is_a_reject(time: object, why: str) -> None:
    assert why in (observation(phenomenonTime=time).record.reason or "")


@pytest.mark.parametrize("result", [7, 7.0, "7", " 7.0 "])
def test_a_result_is_a_number_or_a_number_as_text(result: object) -> None:
    assert observation(result=result).record.soil_temp_c == 7.0


def test_a_result_of_null_is_missing_and_no_fault() -> None:
    record = observation(result=None).record
    assert (record.reason, record.soil_temp_c) == (None, pytest.approx(float("nan"), nan_ok=True))


@pytest.mark.parametrize("result", [True, False, "warm", "", "nan", "1e400", [7], {"a": 7}])
def test_any_other_result_is_a_reject(result: object) -> None:
    assert "is no temperature" in (observation(result=result).record.reason or "")


def test_an_observation_without_id_is_known_by_all_it_says() -> None:
    rows = [{"phenomenonTime": "2018-04-01T08:00:00Z", "result": result} for result in (1, 1, 2)]
    read = read_page({"value": rows}, URL, "C").observations
    assert len({one.key for one in read}) == 2


@pytest.mark.parametrize(
    ("link", "url"),
    [
        (f"{URL}&$skip=2", f"{URL}&$skip=2"),
        ("/v1.1/Datastreams(7)/Observations?$skip=2", URL.replace("$top", "$skip")),
        ("Observations?$skip=2", URL.replace("$top", "$skip")),
        ("?$skip=2", URL.replace("$top", "$skip")),
        (None, None),
        ("", None),
    ],
    ids=["absolute", "of the host", "of the folder", "of the page", "null", "blank"],
)
def test_a_link_to_the_next_page_may_be_relative(link: str | None, url: str | None) -> None:
    assert read_page({"value": [], "@iot.nextLink": link}, URL, "C").next_url == url


@pytest.mark.parametrize(
    "link",
    [
        "https://other.example/v1.1/Datastreams(7)/Observations",
        "http://things.example/v1.1/Datastreams(7)/Observations",
        "https://things.example:8443/v1.1/Datastreams(7)/Observations",
        "file:///v1.1/Datastreams(7)/Observations",
    ],
)
def test_a_next_page_on_another_server_is_refused(link: str) -> None:
    with pytest.raises(FeedAnswerError, match="on another server"):
        check_next(URL, link)


def test_a_next_page_that_has_lost_its_datastream_is_refused() -> None:
    with pytest.raises(FeedAnswerError, match="of something else"):
        check_next(URL, "https://things.example/v1.1/Observations?$top=2&$skip=2")


@pytest.mark.parametrize(
    "link",
    [
        "https://things.example:443/v1.1/Datastreams(7)/Observations?$skip=2",
        "https://Things.example/v1.1/Datastreams%287%29/Observations?$skip=2",
    ],
)
def test_the_same_page_may_be_spelled_otherwise(link: str) -> None:
    assert check_next(URL, link) is None  # it raises where the page is another


@pytest.mark.parametrize(
    "lie",
    [
        {"code": 500, "type": "error", "message": "no"},
        {"value": {"result": 7}},
        {"value": [7]},
        {"value": None},
        [],
        "no",
        {"value": [], "@iot.nextLink": 7},
        {"value": [], "@iot.nextLink": "http://[v"},
    ],
)
def test_what_is_no_page_is_refused(lie: object) -> None:
    with pytest.raises(FeedAnswerError):
        read_page(lie, URL, "C")


@given(json_values, json_values, json_values)
def test_whatever_an_observation_holds_it_is_read_or_has_a_reason(
    id_: Any, time: Any, result: Any
) -> None:
    record = observation(**{"@iot.id": id_, "phenomenonTime": time, "result": result}).record
    assert record.reason
