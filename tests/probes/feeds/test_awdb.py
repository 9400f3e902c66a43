"""The snow-and-soil network's answers: depths in inches, °F or °C, fixed clocks, flags."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import numpy as np
import pytest
from hypothesis import given

from probes.feeds.awdb import check_element, choose_offset_min, read_data, read_offset_min
from probes.feeds.contract import FeedAnswerError
from probes.frames import LoggerFile
from tests.probes.feeds.json_answers import json_values

TRIPLET = "2057:XX:SCAN"
PACIFIC_MIN = -480


def station(**fields: Any) -> list[dict[str, Any]]:
    """Return a `stations` answer in the shape of [AWDB-REST], one station."""
    return [{"stationTriplet": TRIPLET, "dataTimeZone": -8, "endDate": "2100-01-01", **fields}]


def series(*values: dict[str, Any], **fields: Any) -> dict[str, Any]:
    """Return one element of a `data` answer in the shape of [AWDB-REST]."""
    element = {
        "elementCode": "STO",
        "ordinal": 1,
        "heightDepth": -2,
        "durationName": "HOURLY",
        "storedUnitCode": "degF",
        "endDate": "2100-01-01 00:00",
        **fields,
    }
    return {"stationElement": element, "values": list(values)}


def at(hour: int, value: Any, **flags: str) -> dict[str, Any]:
    """Return one value of 15 July 2026."""
    return {"date": f"2026-07-15 {hour:02d}:00", "value": value, **flags}


def answer(*all_series: dict[str, Any]) -> list[dict[str, Any]]:
    return [{"stationTriplet": TRIPLET, "data": list(all_series)}]


def read(given: Any, offset_min: int = PACIFIC_MIN) -> LoggerFile:
    return read_data(given, TRIPLET, offset_min).file


def temperatures(given: list[dict[str, Any]]) -> dict[str, list[float]]:
    """Return the temperatures [degC] of each channel."""
    file = read(given)
    columns = zip(file.channels, file.soil_temp_c.T, strict=True)
    return {channel: column[~np.isnan(column)].tolist() for channel, column in columns}


def reason(row: dict[str, Any]) -> str | None:
    """Return why a value is no reading; None where it is one."""
    reasons = [reject.reason for reject in read(answer(series(row))).rejects]
    return reasons[0] if reasons else None


def test_a_channel_is_named_by_code_inches_and_ordinal_and_lies_that_deep() -> None:
    readings = read_data(answer(series(at(1, 50))), TRIPLET, PACIFIC_MIN)
    assert readings.depth_cm == {"STO:-2:1": 5.08}  # by hand: 2 x 2.54


@pytest.mark.parametrize("text", ["STO:-2:1", "STV:-20:2", "STO:*:*", "STO:-8:*"])
def test_what_may_be_asked_for_is_soil_temperature_in_full(text: str) -> None:
    assert check_element(text) == text


@pytest.mark.parametrize("text", ["STO", "*", "*:*:*", "STO:-2", "STO:2:1", "STX:-2:1", "SMS:-2:1"])
def test_what_is_bare_above_ground_or_another_quantity_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r'"STO:-2:1" or "STO:\*:\*"'):
        check_element(text)


def test_a_value_in_stored_fahrenheit_is_read_in_celsius() -> None:
    assert temperatures(answer(series(at(1, 64.0)))) == {"STO:-2:1": [(64.0 - 32) * 5 / 9]}


def test_a_value_in_stored_celsius_stays() -> None:
    assert temperatures(answer(series(at(1, 18.5), storedUnitCode="degC"))) == {"STO:-2:1": [18.5]}


@pytest.mark.parametrize("unit", ["degK", "F", None, ["degF"]])
def test_another_stored_unit_is_refused(unit: object) -> None:
    with pytest.raises(FeedAnswerError, match="known are degF and degC"):
        read(answer(series(at(1, 64.0), storedUnitCode=unit)))


@pytest.mark.parametrize("depth", [-8, -8.0, {"value": -8, "unitCode": "in"}])
def test_a_depth_is_a_number_or_an_object(depth: object) -> None:
    assert list(temperatures(answer(series(at(1, 50), heightDepth=depth)))) == ["STO:-8:1"]


@pytest.mark.parametrize("depth", [None, 2, 0, "-8", True, {"value": -8, "unitCode": "cm"}, {}])
def test_a_depth_that_is_unknown_or_not_below_ground_is_refused(depth: object) -> None:
    with pytest.raises(FeedAnswerError, match="depth in inches"):
        read(answer(series(heightDepth=depth)))


def test_replicates_at_one_depth_are_channels_of_their_own() -> None:
    both = answer(series(at(1, 50)), series(at(1, 59), ordinal=2))
    assert temperatures(both) == {"STO:-2:1": [10.0], "STO:-2:2": [15.0]}  # by hand


def test_an_element_without_ordinal_is_the_first() -> None:
    one = series(at(1, 50))
    del one["stationElement"]["ordinal"]
    assert list(temperatures(answer(one))) == ["STO:-2:1"]


def test_instants_and_hourly_means_are_channels_of_their_own() -> None:
    both = answer(series(at(1, 50)), series(at(1, 50), elementCode="STV"))
    assert list(temperatures(both)) == ["STO:-2:1", "STV:-2:1"]


@pytest.mark.parametrize("code", ["STX", "STN", "SMS", "TOBS", None, {}])
def test_extremes_and_other_quantities_are_refused(code: object) -> None:
    with pytest.raises(FeedAnswerError, match="no soil temperature"):
        read(answer(series(elementCode=code)))


@pytest.mark.parametrize(
    ("offset_min", "utc"),
    [
        (-480, datetime(2026, 7, 15, 9)),  # noqa: DTZ001 (UTC without a zone: probes.frames)
        (0, datetime(2026, 7, 15, 1)),  # noqa: DTZ001
        (-210, datetime(2026, 7, 15, 4, 30)),  # noqa: DTZ001
        (570, datetime(2026, 7, 14, 15, 30)),  # noqa: DTZ001
    ],
    ids=["Pacific", "Greenwich", "half an hour", "the day before"],
)
def test_a_stamp_is_local_by_the_fixed_offset(offset_min: int, utc: datetime) -> None:
    assert read(answer(series(at(1, 50))), offset_min).observed_at.tolist() == [utc]


@pytest.mark.parametrize(
    "row", [{"date": "2026-07-15 01:00"}, at(1, None), at(1, None, qcFlag="S")]
)
def test_a_value_that_is_absent_or_null_is_missing_and_no_fault(row: dict[str, Any]) -> None:
    file = read(answer(series(row)))
    assert (file.missing, file.rejects) == (1, ())


@pytest.mark.parametrize("flag", ["V", "N", "E", "C", "", None])
def test_a_value_that_was_measured_counts(flag: str) -> None:
    assert reason(at(1, 50, qcFlag=flag)) is None


@pytest.mark.parametrize("flag", ["U", "R", "P", "A"])
def test_who_has_looked_at_a_value_does_not_matter(flag: str) -> None:
    assert reason(at(1, 50, qcFlag="V", qaFlag=flag)) is None


@pytest.mark.parametrize(
    ("flag", "why"),
    [
        ("B", "a back estimate"),
        ("K", "an estimate"),
        ("X", "an estimate from elsewhere"),
        ("Q", "as no one explains"),
    ],
)
def test_what_was_estimated_is_no_reading(flag: str, why: str) -> None:
    assert reason(at(1, 50, qcFlag=flag)) == f"the network flags it {why}"


def test_what_the_network_finds_suspect_is_a_reading_that_it_flags() -> None:
    # source: [AWDB-REST] flags of the report preambles: S suspect
    file = read(answer(series(at(1, 50, qcFlag="V"), at(2, 59, qcFlag="S"))))
    assert file.soil_temp_c[:, 0].tolist() == [10.0, 15.0]
    assert file.suspect is not None
    assert file.suspect[:, 0].tolist() == [False, True]


@pytest.mark.parametrize("value", [True, "warm", [50], {}, float("nan"), 1e9])
def test_what_is_no_number_is_no_reading(value: object) -> None:
    assert "is no temperature" in (reason(at(1, value)) or "")


@pytest.mark.parametrize("date", ["2026-07-15", "15.07.2026 01:00", None, 20260715])
def test_a_stamp_without_an_hour_is_no_instant(date: object) -> None:
    assert "no day with an hour" in (reason({"date": date, "value": 50}) or "")


def test_nothing_found_is_no_error() -> None:
    assert read([]).channels == ()


@pytest.mark.parametrize(
    "lie",
    [{"status": 500, "message": "no"}, "no", None, [1], [{"stationTriplet": "1:YY:SCAN"}]],
    ids=["an error object", "text", "null", "numbers", "another station"],
)
def test_an_answer_about_something_else_is_refused(lie: object) -> None:
    with pytest.raises(FeedAnswerError):
        read(lie)


@pytest.mark.parametrize(("hours", "offset_min"), [(-8, -480), (-3.5, -210), (0, 0), (None, None)])
def test_the_network_states_its_clock_in_hours_or_not_at_all(
    hours: float | None, offset_min: int | None
) -> None:
    assert read_offset_min(station(dataTimeZone=hours), TRIPLET) == offset_min


@pytest.mark.parametrize("hours", ["PST", -480, True, [], float("nan")])
def test_a_clock_that_is_no_offset_in_hours_is_refused(hours: object) -> None:
    with pytest.raises(FeedAnswerError, match="no offset in hours"):
        read_offset_min(station(dataTimeZone=hours), TRIPLET)


def test_a_station_that_the_network_does_not_know_is_named() -> None:
    with pytest.raises(FeedAnswerError, match=f"knows no station {TRIPLET}"):
        read_offset_min([], TRIPLET)


@pytest.mark.parametrize(
    ("given", "stated"), [(-480, None), (None, -480), (-480, -480)], ids=["given", "stated", "both"]
)
def test_one_word_on_the_clock_is_enough(given: int | None, stated: int | None) -> None:
    assert choose_offset_min(given, stated, TRIPLET) == -480


def test_without_a_word_on_the_clock_no_clock_is_guessed() -> None:
    with pytest.raises(FeedAnswerError, match=r'set utc_offset = "UTC-08:00"'):
        choose_offset_min(None, None, TRIPLET)


def test_two_words_on_the_clock_must_agree() -> None:
    with pytest.raises(FeedAnswerError, match=r"UTC-08:00 by the network .* \"UTC-07:00\" in"):
        choose_offset_min(-480, -420, TRIPLET)


@given(json_values)
def test_whatever_a_station_answers_is_read_or_refused(lie: Any) -> None:
    try:
        channels = read(lie).channels
    except FeedAnswerError:
        channels = ()
    assert channels == ()


@given(json_values, json_values)
def test_whatever_a_value_holds_it_is_a_reading_missing_or_rejected(value: Any, flag: Any) -> None:
    file = read(answer(series({"date": "2026-07-15 01:00", "value": value, "qcFlag": flag})))
    kept = int(np.isfinite(file.soil_temp_c).sum())
    assert kept + file.missing + len(file.rejects) == 1
