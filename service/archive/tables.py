"""The tables of an archive: their columns, with unit and meaning in each file."""

from __future__ import annotations

import pyarrow as pa

FORM = "1"
"""Which form of archive this is; another one where a column changes its name or meaning."""

_TEMPERATURE = {"units": "degree_Celsius"}
FLAG_VALUES = 1, 2, 3, 4, 9
FLAG_MEANINGS = "good not_evaluated suspect fail missing"
_FLAG = {
    "units": "1",
    "flag_values": " ".join(map(str, FLAG_VALUES)),
    "flag_meanings": FLAG_MEANINGS,
}


def _field(name: str, kind: pa.DataType, long_name: str, null: str = "", **more: str) -> pa.Field:
    """Return a column; `null` says what a null of it means, empty: it has none."""
    meaning = f"{long_name}; null {null}" if null else long_name
    return pa.field(name, kind, bool(null), {"long_name": meaning, **more})


_NUMBER = {"units": "1"}
_INSTANT = pa.timestamp("us", "UTC")
_NOWHERE = "while the probe lay nowhere"
_PROBE = (
    _field("logger", pa.string(), "logger, station or thermometer, by its id in the farm file"),
    _field("channel", pa.string(), "its column of that depth; with logger it names a probe"),
    _field("probe", pa.int32(), "number of the probe in the store", **_NUMBER),
    _field("depth_cm", pa.float64(), "depth of the probe at that time", _NOWHERE, units="cm"),
)

READINGS = pa.schema(
    [
        _field("observed_at", _INSTANT, "instant, or end of the averaging interval, in UTC"),
        *_PROBE,
        _field("soil_temp_c", pa.float64(), "temperature as the logger has it", **_TEMPERATURE),
        _field(
            "calibration_offset_c",
            pa.float64(),
            "what is added to soil_temp_c before it is averaged",
            _NOWHERE,
            **_TEMPERATURE,
        ),
        _field("flag", pa.int8(), "quality flag of QARTOD, a person's word included", **_FLAG),
        _field(
            "stamped_at",
            _INSTANT,
            "what a wrong clock of the logger had shown, in UTC",
            "where it was right",
        ),
        _field("import_number", pa.int32(), "delivery it came by (digseason imports)", **_NUMBER),
    ]
)

DAILY = pa.schema(
    [
        _field("day", pa.date32(), "day of the site's local standard time, 24 hours all year"),
        *_PROBE,
        _field(
            "mean_c",
            pa.float64(),
            "mean of the hours of the day, calibrated",
            "where no reading of it may be used",
            **_TEMPERATURE,
        ),
        _field(
            "error_c",
            pa.float64(),
            "standard error of a day that was read by hand",
            "of other days",
            **_TEMPERATURE,
        ),
        _field("slots_present", pa.int16(), "hours (or longer slots) with a reading", **_NUMBER),
        _field("slots_in_day", pa.int16(), "hours (or longer slots) of the day", **_NUMBER),
        _field("longest_gap_h", pa.int16(), "longest run of missing hours", units="h"),
        _field("complete", pa.bool_(), "whether enough of the day is there for it to count"),
    ]
)

TABLES = {"readings": READINGS, "daily": DAILY}

PARTITIONS = {
    "site": "site, by its id in the farm file; a folder, in no file",
    "year": "readings: year of observed_at in UTC; daily: year of day; a folder, in no file",
}
