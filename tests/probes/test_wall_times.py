"""What stamps show: hour 24, lost zeros, years of two digits, words for forenoon and afternoon."""

from __future__ import annotations

import numpy as np
import pytest

from probes.wall_times import check_time_format, read_wall_times
from tests.logger_texts import layout

DAY_OF_YEAR = {"time": ("Year", "DOY", "Hour"), "time_format": "%Y %j %H%M"}


def shown(stamp: str, latest_year: int = 2026, **fields: object) -> str:
    """Return the time that a stamp shows, to the second."""
    return str(read_wall_times([stamp], layout(**fields), latest_year)[0])[:19]


@pytest.mark.parametrize(
    ("stamp", "fields", "time"),
    [
        ("2025-04-01 24:00", {}, "2025-04-02T00:00:00"),
        ("2024-02-28 24:00", {}, "2024-02-29T00:00:00"),
        ("2025-12-31 24:00", {}, "2026-01-01T00:00:00"),
        ("24/04/24 24:00", {"time_format": "%d/%m/%y %H:%M"}, "2024-04-25T00:00:00"),
        ("202504012400", {"time_format": "%Y%m%d%H%M"}, "2025-04-02T00:00:00"),
        ("2025-04-01 24:01", {}, "NaT"),
        ("2025-04-01 25:00", {}, "NaT"),
        ("2025-02-29 24:00", {}, "NaT"),
        ("2025 91 100", DAY_OF_YEAR, "2025-04-01T01:00:00"),
        ("2025 91 0", DAY_OF_YEAR, "2025-04-01T00:00:00"),
        ("2025 91 2400", DAY_OF_YEAR, "2025-04-02T00:00:00"),
        ("2025 365 2400", DAY_OF_YEAR, "2026-01-01T00:00:00"),
        ("2025 366 100", DAY_OF_YEAR, "NaT"),
        ("2025 91 ", DAY_OF_YEAR, "NaT"),
        ("2025 91 13000", DAY_OF_YEAR, "NaT"),
    ],
)
def test_hours_of_the_day_are_read_as_they_are_meant(stamp: str, fields, time: str) -> None:
    # by hand
    assert shown(stamp, **fields) == time


@pytest.mark.parametrize("noon", ["PM", "pm", "p.m.", "P.M.", "p. m."])
@pytest.mark.parametrize("blank", [" ", "\u00a0", "\u202f"])
def test_afternoon_is_known_in_all_its_spellings(noon: str, blank: str) -> None:
    stamp = f"04/01/2025 01:30{blank}{noon}"
    assert shown(stamp, time_format="%m/%d/%Y %I:%M %p") == "2025-04-01T13:30:00"


@pytest.mark.parametrize(
    ("year", "latest_year", "meant"),
    # by hand: the last year, up to the latest, that ends in these digits
    [("25", 2026, "2025"), ("26", 2026, "2026"), ("27", 2026, "1927"), ("70", 2070, "2070"),
     ("68", 2068, "2068"), ("69", 2068, "1969"), ("99", 2026, "1999")],
)  # fmt: skip
def test_a_year_of_two_digits_lies_before_the_latest(year, latest_year: int, meant: str) -> None:
    found = shown(f"04/01/{year} 10:00", latest_year, time_format="%m/%d/%y %H:%M")
    assert found == f"{meant}-04-01T10:00:00"


def test_a_leap_day_stays_one_in_another_century() -> None:
    found = shown("29/02/72 10:00", 2080, time_format="%d/%m/%y %H:%M")
    assert found == "2072-02-29T10:00:00"


@pytest.mark.parametrize(
    ("time_format", "stamp", "clock", "time"),
    [
        ("iso8601", "2025-04-01T13:30-08:00", "stamp", "2025-04-01T21:30:00"),
        ("iso8601", "2025-04-01 13:30:15.5Z", "stamp", "2025-04-01T13:30:15"),
        ("iso8601", "20250401T1330+0530", "stamp", "2025-04-01T08:00:00"),
        ("iso8601", "2025-04-01T13+09", "stamp", "2025-04-01T04:00:00"),
        ("iso8601", "2025-04-01T24:00:00-08:00", "stamp", "2025-04-02T08:00:00"),
        ("iso8601", "2025-04-01T24:30:00-08:00", "stamp", "NaT"),
        ("iso8601", "2025-04-01T13:30", "UTC", "2025-04-01T13:30:00"),
        ("iso8601", "2025-04-01", "UTC", "NaT"),
        ("iso8601", "2025-02-29T13:30", "UTC", "NaT"),
        ("iso8601", "2025-04-01T13:30", "stamp", "NaT"),
        ("iso8601", "2025-04-01T13:30Z", "UTC", "NaT"),
        ("epoch_s", "1743514200", "UTC", "2025-04-01T13:30:00"),
        ("epoch_s", "1743514200.0", "UTC", "2025-04-01T13:30:00"),
        ("epoch_ms", "1743514200000", "UTC", "2025-04-01T13:30:00"),
        ("epoch_us", "1743514200000000", "UTC", "2025-04-01T13:30:00"),
        ("epoch_s", "1743514200000", "UTC", "NaT"),
        ("epoch_s", "1_743_514_200", "UTC", "NaT"),
        ("epoch_s", "inf", "UTC", "NaT"),
        ("epoch_s", "", "UTC", "NaT"),
        ("serial", "45748.5625", "UTC", "2025-04-01T13:30:00"),
        ("serial", "45748.562499999", "UTC", "2025-04-01T13:30:00"),
        ("serial-1904", "44286.5625", "UTC", "2025-04-01T13:30:00"),
        ("serial", "1e300", "UTC", "NaT"),
    ],
)
def test_a_word_reads_stamps_that_no_format_does(time_format, stamp, clock: str, time) -> None:
    # by hand; 45748 days after 1899-12-30 and 1743514200 s after 1970 are in April 2025
    assert shown(stamp, clock=clock, time_format=time_format) == time


def test_days_of_a_spreadsheet_may_have_a_decimal_comma() -> None:
    found = shown("45748,5625", clock="UTC", time_format="serial", decimal=",")
    assert found == "2025-04-01T13:30:00"


def test_stamps_of_many_forms_do_not_mix() -> None:
    stamps = ["2025-04-01 24:00", "2025-04-02 01:00", "24", "now"]
    found = read_wall_times(stamps, layout())
    assert np.isnat(found).tolist() == [False, False, True, True]


def test_an_unknown_word_is_refused_with_those_there_are() -> None:
    with pytest.raises(ValueError, match=r"epoch_s, epoch_ms, epoch_us, serial, serial-1904"):
        check_time_format("epoch%Q")
