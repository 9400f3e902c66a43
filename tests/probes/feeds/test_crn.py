"""The climate reference network's products: documented columns, real lines, and their oddities."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from pvlib.iotools import read_crn as pvlib_read_crn

from probes.feeds.contract import FeedAnswerError, FeedReadings
from probes.feeds.crn import DAILY, FIVE_MINUTES, HOURLY, Product, read_crn, read_offset_min

# source: [CRN-LINES]
VERSAILLES = (
    "63838 20170101 0100 20161231 2000  2.422  -84.75   38.09     4.4     4.1     4.4     3.9"
    "     0.0      0 0      0 0      0 0 C     3.7 0     3.8 0     3.5 0    93 0   0.340   0.341"
    "   0.343   0.324   0.410     4.5     4.6     5.3     7.2     9.2"
)
MILLBROOK = (
    "64756 20170101  2.422  -73.74   41.79     6.6    -5.4     0.6     2.2     0.0     8.68 C"
    "     7.9    -6.6    -0.5    84.8    30.7    53.7 -99.000 -99.000   0.207   0.152   0.175"
    "    -0.1     0.0     0.6     1.5     3.4"
)
TUCSON = (
    "53131 20190101 1615 20190101 0915      3 -111.17   32.24     3.3     0.0    183 0     4.0 C 0"
    "    87 0 -99.000 -9999.0  1182 0   0.36 0"
)

# source: [CRN-README], field name and columns of the soil temperatures and of the stamps
HOURLY_COLUMNS = {
    "WBANNO": (1, 5),
    "UTC_DATE": (7, 14),
    "UTC_TIME": (16, 19),
    "LST_DATE": (21, 28),
    "LST_TIME": (30, 33),
    "CRX_VN": (35, 40),
    "LONGITUDE": (42, 48),
    "LATITUDE": (50, 56),
    "T_CALC": (58, 64),
    "T_HR_AVG": (66, 72),
    "T_MAX": (74, 80),
    "T_MIN": (82, 88),
    "P_CALC": (90, 96),
    "SOLARAD": (98, 103),
    "SOLARAD_FLAG": (105, 105),
    "SOLARAD_MAX": (107, 112),
    "SOLARAD_MAX_FLAG": (114, 114),
    "SOLARAD_MIN": (116, 121),
    "SOLARAD_MIN_FLAG": (123, 123),
    "SUR_TEMP_TYPE": (125, 125),
    "SUR_TEMP": (127, 133),
    "SUR_TEMP_FLAG": (135, 135),
    "SUR_TEMP_MAX": (137, 143),
    "SUR_TEMP_MAX_FLAG": (145, 145),
    "SUR_TEMP_MIN": (147, 153),
    "SUR_TEMP_MIN_FLAG": (155, 155),
    "RH_HR_AVG": (157, 161),
    "RH_HR_AVG_FLAG": (163, 163),
    "SOIL_MOISTURE_5": (165, 171),
    "SOIL_MOISTURE_10": (173, 179),
    "SOIL_MOISTURE_20": (181, 187),
    "SOIL_MOISTURE_50": (189, 195),
    "SOIL_MOISTURE_100": (197, 203),
    "SOIL_TEMP_5": (205, 211),
    "SOIL_TEMP_10": (213, 219),
    "SOIL_TEMP_20": (221, 227),
    "SOIL_TEMP_50": (229, 235),
    "SOIL_TEMP_100": (237, 243),
}
DAILY_COLUMNS = {
    "WBANNO": (1, 5),
    "LST_DATE": (7, 14),
    "CRX_VN": (16, 21),
    "LONGITUDE": (23, 29),
    "LATITUDE": (31, 37),
    "T_DAILY_MAX": (39, 45),
    "T_DAILY_MIN": (47, 53),
    "T_DAILY_MEAN": (55, 61),
    "T_DAILY_AVG": (63, 69),
    "P_DAILY_CALC": (71, 77),
    "SOLARAD_DAILY": (79, 86),
    "SUR_TEMP_DAILY_TYPE": (88, 88),
    "SUR_TEMP_DAILY_MAX": (90, 96),
    "SUR_TEMP_DAILY_MIN": (98, 104),
    "SUR_TEMP_DAILY_AVG": (106, 112),
    "RH_DAILY_MAX": (114, 120),
    "RH_DAILY_MIN": (122, 128),
    "RH_DAILY_AVG": (130, 136),
    "SOIL_MOISTURE_5_DAILY": (138, 144),
    "SOIL_MOISTURE_10_DAILY": (146, 152),
    "SOIL_MOISTURE_20_DAILY": (154, 160),
    "SOIL_MOISTURE_50_DAILY": (162, 168),
    "SOIL_MOISTURE_100_DAILY": (170, 176),
    "SOIL_TEMP_5_DAILY": (178, 184),
    "SOIL_TEMP_10_DAILY": (186, 192),
    "SOIL_TEMP_20_DAILY": (194, 200),
    "SOIL_TEMP_50_DAILY": (202, 208),
    "SOIL_TEMP_100_DAILY": (210, 216),
}
SUBHOURLY_COLUMNS = {
    "WBANNO": (1, 5),
    "UTC_DATE": (7, 14),
    "UTC_TIME": (16, 19),
    "LST_DATE": (21, 28),
    "LST_TIME": (30, 33),
    "CRX_VN": (35, 40),
    "LONGITUDE": (42, 48),
    "LATITUDE": (50, 56),
    "AIR_TEMPERATURE": (58, 64),
    "PRECIPITATION": (66, 72),
    "SOLAR_RADIATION": (74, 79),
    "SR_FLAG": (81, 81),
    "SURFACE_TEMPERATURE": (83, 89),
    "ST_TYPE": (91, 91),
    "ST_FLAG": (93, 93),
    "RELATIVE_HUMIDITY": (95, 99),
    "RH_FLAG": (101, 101),
    "SOIL_MOISTURE_5": (103, 109),
    "SOIL_TEMPERATURE_5": (111, 117),
    "WETNESS": (119, 123),
    "WET_FLAG": (125, 125),
    "WIND_1_5": (127, 132),
    "WIND_FLAG": (134, 134),
}

LONG_AGO, MUCH_LATER = datetime(1990, 1, 1, tzinfo=UTC), datetime(2090, 1, 1, tzinfo=UTC)


def read(
    text: str | bytes,
    product: Product = HOURLY,
    wban: str = "63838",
    since: datetime = LONG_AGO,
    until: datetime = MUCH_LATER,
    utc_offset_min: int = -300,
) -> FeedReadings:
    content = text if isinstance(text, bytes) else text.encode()
    return read_crn(content, product, wban, since, until, utc_offset_min)


def rows(readings: FeedReadings) -> list[tuple[Any, ...]]:
    """Return instant and temperatures of each row, None where there is none."""
    file = readings.file
    values = [[None if np.isnan(one) else one for one in row] for row in file.soil_temp_c.tolist()]
    return [
        (f"{instant:%Y-%m-%d %H:%M}", *row)
        for instant, row in zip(file.observed_at.tolist(), values, strict=True)
    ]


def reasons(readings: FeedReadings) -> list[tuple[int, str, int]]:
    return [(reject.line, reject.reason, reject.readings) for reject in readings.file.rejects]


def hour(stamp: str, *temps: str, wban: str = "63838") -> str:
    """Return an hourly line of the real one's form: UTC stamp, local time five hours behind."""
    then = datetime.strptime(stamp, "%Y-%m-%d %H:%M").replace(tzinfo=UTC)
    local = datetime.fromtimestamp(then.timestamp() - 5 * 3600, UTC)
    soil = "".join(f" {temp:>7}" for temp in (*temps, *["-9999.0"] * (5 - len(temps))))
    return f"{wban} {then:%Y%m%d %H%M} {local:%Y%m%d %H%M}{VERSAILLES[33:203]}{soil}"


@pytest.mark.parametrize(
    ("product", "columns"),
    [
        pytest.param(HOURLY, HOURLY_COLUMNS, id="hourly"),
        pytest.param(DAILY, DAILY_COLUMNS, id="daily"),
        pytest.param(FIVE_MINUTES, SUBHOURLY_COLUMNS, id="five minutes"),
    ],
)
def test_every_field_stands_in_its_documented_columns(
    product: Product, columns: dict[str, tuple[int, int]]
) -> None:
    ours = {
        name: (product.columns(name).start + 1, product.columns(name).stop)
        for name in product.widths
    }
    assert ours == columns
    assert list(ours) == list(columns)


def test_a_real_hour_ends_at_its_utc_stamp() -> None:
    readings = read(VERSAILLES + "\n")
    assert rows(readings) == [("2017-01-01 01:00", 4.5, 4.6, 5.3, 7.2, 9.2)]
    assert list(readings.depth_cm.values()) == [5, 10, 20, 50, 100]
    assert readings.file.channels == tuple(readings.depth_cm)


def test_a_real_day_ends_at_midnight_of_the_station() -> None:
    # by hand: 1 January of UTC-05:00 ends at 05:00 UTC on the 2nd; -99 is the moisture's code
    readings = read(MILLBROOK + "\n", DAILY, "64756")
    assert rows(readings) == [("2017-01-02 05:00", -0.1, 0.0, 0.6, 1.5, 3.4)]
    assert readings.file.missing == 0


def test_a_real_five_minutes_without_a_sensor_is_missing() -> None:
    readings = read(TUCSON + "\n", FIVE_MINUTES, "53131")
    assert rows(readings) == [("2019-01-01 16:15", None)]
    assert readings.file.missing == 1


def test_five_minutes_agree_with_another_reader() -> None:
    columns = FIVE_MINUTES.columns("SOIL_TEMPERATURE_5")
    lines = [
        TUCSON.replace("1615", f"{1600 + step * 5}").replace("0915", f"{900 + step * 5:04}")
        for step in range(12)
    ]
    temps = [-9999.0, -9.9, -0.1, 0.0, 4.5, 99.9, -40.0, 12.3, -99.0, -99.9, 38.0, 7.0]
    text = "".join(
        f"{line[: columns.start]}{temp:7.1f}{line[columns.stop :]}\n"
        for line, temp in zip(lines, temps, strict=True)
    )
    theirs = pvlib_read_crn(io.StringIO(text))["SOIL_TEMPERATURE_5"]
    ours = read(text, FIVE_MINUTES, "53131").file
    instants = theirs.index.tz_localize(None).to_numpy().astype("datetime64[us]")
    np.testing.assert_array_equal(ours.observed_at, instants)
    np.testing.assert_array_equal(ours.soil_temp_c[:, 0], theirs.to_numpy())


def test_minus_ninety_nine_degrees_is_no_missing_code() -> None:
    readings = read(hour("2025-04-01 09:00", "-99.0", "-9.9"))
    assert rows(readings) == [("2025-04-01 09:00", -99.0, -9.9, None, None, None)]
    assert readings.file.missing == 3


@pytest.mark.parametrize("junk", [b"\0" * 40, b" " * 1700])
def test_a_record_behind_a_run_of_nothing_survives(junk: bytes) -> None:
    assert rows(read(junk + VERSAILLES.encode() + b"\n")) == rows(read(VERSAILLES))


def test_a_run_of_nothing_in_place_of_a_record_is_rejected() -> None:
    lines = [hour("2025-04-01 09:00", "1.0"), "\0" * 243, hour("2025-04-01 11:00", "3.0")]
    readings = read("\n".join(lines))
    assert [row[:2] for row in rows(readings)] == [
        ("2025-04-01 09:00", 1.0),
        ("2025-04-01 11:00", 3.0),
    ]
    assert reasons(readings) == [(2, "blank where a record should be", 5)]


def test_a_value_that_was_cut_off_is_not_read() -> None:
    readings = read(f"{hour('2025-04-01 09:00')}\n{VERSAILLES[:-2]}")
    assert reasons(readings) == [
        (2, "241 characters in 38 fields, not the 243 in 38 of hourly02", 5)
    ]


def test_a_nul_within_a_record_costs_the_record() -> None:
    readings = read(f"{hour('2025-04-01 09:00')}\n{VERSAILLES[:210]}\0{VERSAILLES[211:]}")
    assert reasons(readings) == [
        (2, "242 characters in 38 fields, not the 243 in 38 of hourly02", 5)
    ]


def test_a_value_that_is_no_number_costs_the_value() -> None:
    readings = read(hour("2025-04-01 09:00", "1.0", "1..0", "*****"))
    assert rows(readings) == [("2025-04-01 09:00", 1.0, None, None, None, None)]
    assert reasons(readings) == [
        (1, "'1..0' in SOIL_TEMP_10 is no number", 1),
        (1, "'*****' in SOIL_TEMP_20 is no number", 1),
    ]
    assert readings.file.missing == 2


def test_stamps_that_contradict_each_other_cost_the_record() -> None:
    good = [hour(f"2025-04-01 {number:02}:00", "1.0") for number in (8, 9, 10)]
    wrong = good[1].replace("20250401 0400", "20250401 0500")
    readings = read("\n".join([good[0], wrong, good[2]]))
    assert reasons(readings) == [(2, "its UTC and its local stamp do not fit together", 5)]


def test_a_stamp_that_is_none_costs_the_record() -> None:
    readings = read(f"{VERSAILLES}\n{VERSAILLES.replace('20170101 0100', '20170101 2500')}")
    assert reasons(readings) == [(2, "its stamp is none", 5)]


def test_only_what_was_asked_for_is_read_and_rejected() -> None:
    lines = [hour(f"2025-04-01 {number:02}:00", "1.0") for number in (8, 9, 10, 11)]
    since, until = (datetime(2025, 4, 1, number, tzinfo=UTC) for number in (9, 10))
    readings = read("\n".join(["x", lines[0], "\0", *lines[1:], "\0"]), since=since, until=until)
    assert [row[0] for row in rows(readings)] == ["2025-04-01 09:00", "2025-04-01 10:00"]
    assert readings.file.line.tolist() == [4, 5]
    assert readings.file.missing == 8
    assert reasons(readings) == []


def test_of_the_file_of_all_stations_its_own_records_are_read() -> None:
    # five header lines, two of them ending in \r\r\n, and \x03 at the end: [CRN-LINES]
    header = "\x01\r\r\n001\r\r\nUS 1\nNOTE\n\n"
    lines = [
        hour("2025-04-01 09:00", "1.0", wban="03047"),
        hour("2025-04-01 09:00", "2.0"),
        hour("2025-04-01 10:00", "3.0", wban="03047"),
    ]
    text = header + "\n".join(lines) + "\r\r\n\x03"
    assert [row[:2] for row in rows(read(text, wban="03047"))] == [
        ("2025-04-01 09:00", 1.0),
        ("2025-04-01 10:00", 3.0),
    ]
    assert reasons(read(text, wban="03047")) == []


def test_a_header_with_the_known_names_is_no_fault() -> None:
    assert rows(read(f"{' '.join(HOURLY.widths)}\n{VERSAILLES}")) == rows(read(VERSAILLES))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        pytest.param(
            "<html>Service unavailable</html>",
            "no record of hourly02 in format 03: '<html>Service unavailable</html>'",
            id="an error text",
        ),
        pytest.param("", "no record of hourly02 in format 03: ''", id="nothing"),
        pytest.param(MILLBROOK, "no record of hourly02 in format 03: '64756 2017", id="daily"),
        pytest.param(
            " ".join(HOURLY.widths).replace("SUR_TEMP_TYPE", "SKY") + "\n" + VERSAILLES,
            "the header is not that of hourly02 in format 03: SKY",
            id="another header",
        ),
        pytest.param(
            hour("2025-04-01 09:00", wban="03047"),
            'no record of station 63838; there is 03047: write wban = "..."',
            id="another station",
        ),
    ],
)
def test_what_is_not_the_product_is_refused(text: str, message: str) -> None:
    with pytest.raises(FeedAnswerError) as told:
        read(text)
    assert str(told.value).startswith(message)


def test_the_station_s_standard_time_is_read_from_the_beginning_of_its_hours() -> None:
    assert read_offset_min((VERSAILLES + "\n" + VERSAILLES[:50]).encode(), "63838") == -300


def test_files_are_named_as_the_network_names_them() -> None:
    # source: [CRN-LINES]
    names = [
        product.file_name(2019, "CO_Boulder_14_W") for product in (HOURLY, DAILY, FIVE_MINUTES)
    ]
    assert names == [
        "CRNH0203-2019-CO_Boulder_14_W.txt",
        "CRND0103-2019-CO_Boulder_14_W.txt",
        "CRNS0101-05-2019-CO_Boulder_14_W.txt",
    ]
