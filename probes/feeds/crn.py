"""The national climate reference network's text products [CRN-README]: one line a record.

Values are means over the interval that ENDS at the stamp; local stamps are standard time all year.
Every value has its columns and is never blank, so a line of another width is no record: that also
keeps a value that was cut off from being read. Soil fields have no flag: where the network found
a fault, the value is missing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from probes.feeds.contract import FeedAnswerError, FeedReadings
from probes.frames import LoggerFile, Reject
from probes.logger_lines import shown

MISSING_AT_MOST_C = -9990.0
"""Missing is -9999.0. Soil moisture and wind have -99 for it; in a temperature that is no code."""

_BEGINS = "WBANNO:5 {utc} CRX_VN:6 LONGITUDE:7 LATITUDE:7"
_UTC_AND_LST = "UTC_DATE:8 UTC_TIME:4 LST_DATE:8 LST_TIME:4"
_DEPTHS_CM = (5, 10, 20, 50, 100)
_RECORD_BEGINS = re.compile(r"\d{5} ")
_NUMBER = re.compile(r"-?\d+\.\d+", re.ASCII)
_NO_TEXT = "\r\x03 \0"
_BAD = np.datetime64("NaT", "us")


@dataclass(frozen=True)
class Product:
    """One of the network's products; its fields are set apart by one space.

    name : of its folder
    prefix, format_number, infix : of its files' names; formats are changed in the files of all
        years at once: 02 to 03 of the hourly product moved every column behind the 20th
    widths : field -> characters, in the order of a line
    depths_cm : the soil temperatures among them -> depth
    """

    name: str
    prefix: str
    format_number: str
    infix: str
    widths: Mapping[str, int]
    depths_cm: Mapping[str, float]
    interval_min: int

    @property
    def width(self) -> int:
        """Characters of a line."""
        return sum(self.widths.values()) + len(self.widths) - 1

    def columns(self, field: str) -> slice:
        """Return where a field stands in a line."""
        names = list(self.widths)
        before = names[: names.index(field)]
        start = sum(self.widths[name] for name in before) + len(before)
        return slice(start, start + self.widths[field])

    def file_name(self, year: int, station: str) -> str:
        """Return the name of a station's file of one year."""
        return f"{self.prefix}{self.format_number}{self.infix}-{year}-{station}.txt"


def _fields(text: str) -> dict[str, int]:
    pairs = (field.split(":") for field in text.split())
    return {name: int(width) for name, width in pairs}


def _at_depths(name: str) -> str:
    return " ".join(f"{name.format(depth)}:7" for depth in _DEPTHS_CM)


HOURLY = Product(
    name="hourly02",
    prefix="CRNH02",
    format_number="03",
    infix="",
    widths=_fields(
        f"{_BEGINS.format(utc=_UTC_AND_LST)} T_CALC:7 T_HR_AVG:7 T_MAX:7 T_MIN:7 P_CALC:7 "
        "SOLARAD:6 SOLARAD_FLAG:1 SOLARAD_MAX:6 SOLARAD_MAX_FLAG:1 SOLARAD_MIN:6 "
        "SOLARAD_MIN_FLAG:1 SUR_TEMP_TYPE:1 SUR_TEMP:7 SUR_TEMP_FLAG:1 SUR_TEMP_MAX:7 "
        "SUR_TEMP_MAX_FLAG:1 SUR_TEMP_MIN:7 SUR_TEMP_MIN_FLAG:1 RH_HR_AVG:5 RH_HR_AVG_FLAG:1 "
        f"{_at_depths('SOIL_MOISTURE_{}')} {_at_depths('SOIL_TEMP_{}')}"
    ),
    depths_cm={f"SOIL_TEMP_{depth}": float(depth) for depth in _DEPTHS_CM},
    interval_min=60,
)
DAILY = Product(
    name="daily01",
    prefix="CRND01",
    format_number="03",
    infix="",
    widths=_fields(
        f"{_BEGINS.format(utc='LST_DATE:8')} T_DAILY_MAX:7 T_DAILY_MIN:7 T_DAILY_MEAN:7 "
        "T_DAILY_AVG:7 P_DAILY_CALC:7 SOLARAD_DAILY:8 SUR_TEMP_DAILY_TYPE:1 SUR_TEMP_DAILY_MAX:7 "
        "SUR_TEMP_DAILY_MIN:7 SUR_TEMP_DAILY_AVG:7 RH_DAILY_MAX:7 RH_DAILY_MIN:7 RH_DAILY_AVG:7 "
        f"{_at_depths('SOIL_MOISTURE_{}_DAILY')} {_at_depths('SOIL_TEMP_{}_DAILY')}"
    ),
    depths_cm={f"SOIL_TEMP_{depth}_DAILY": float(depth) for depth in _DEPTHS_CM},
    interval_min=1440,
)
FIVE_MINUTES = Product(
    name="subhourly01",
    prefix="CRNS01",
    format_number="01",
    infix="-05",
    widths=_fields(
        f"{_BEGINS.format(utc=_UTC_AND_LST)} AIR_TEMPERATURE:7 PRECIPITATION:7 SOLAR_RADIATION:6 "
        "SR_FLAG:1 SURFACE_TEMPERATURE:7 ST_TYPE:1 ST_FLAG:1 RELATIVE_HUMIDITY:5 RH_FLAG:1 "
        "SOIL_MOISTURE_5:7 SOIL_TEMPERATURE_5:7 WETNESS:5 WET_FLAG:1 WIND_1_5:6 WIND_FLAG:1"
    ),
    depths_cm={"SOIL_TEMPERATURE_5": 5.0},
    interval_min=5,
)


def read_crn(
    content: bytes,
    product: Product,
    wban: str,
    since: datetime,
    until: datetime,
    utc_offset_min: int,
) -> FeedReadings:
    """Read the records of one station, observed from one instant to another.

    Parameters
    ----------
    content : bytes
        A file of one station and year, or one of all stations as they come in.
    product : Product
    wban : str
        The station's number, with its leading zeros.
    since, until : datetime
    utc_offset_min : int
        The station's standard time; a day of the daily product ends with it. [min]

    Raises
    ------
    FeedAnswerError
        When it holds no record of the product, or none of the station.

    A day's value is a mean of its whole day: a reading that ends at its midnight.
    """
    line, texts, bad = _split_records(content, product, wban)
    observed_at, offset_min = _read_stamps(texts, product, utc_offset_min)
    for place in np.flatnonzero(np.isnat(observed_at)):
        bad.setdefault(int(place), "its stamp is none")
    known_min = offset_min[~np.isnan(offset_min)]
    if known_min.size:
        for place in np.flatnonzero(offset_min != np.median(known_min)):
            bad.setdefault(int(place), "its UTC and its local stamp do not fit together")
    observed_at[list(bad)] = _BAD
    # a line that cannot be read belongs to the time of its neighbours
    filled = pd.Series(observed_at).ffill().bfill().to_numpy()
    earliest, latest = (_to_numpy(instant) for instant in (since, until))
    asked = (filled >= earliest) & (filled <= latest)
    rejects = [
        Reject(int(line[place]), reason, shown(texts[place].strip()), len(product.depths_cm))
        for place, reason in sorted(bad.items())
        if asked[place]
    ]
    kept = np.flatnonzero(asked & ~np.isnat(observed_at))
    soil_temp_c = np.full((kept.size, len(product.depths_cm)), np.nan)
    missing = 0
    for channel, field in enumerate(product.depths_cm):
        columns = product.columns(field)
        for row, place in enumerate(kept):
            cell = texts[place][columns].strip()
            if not _NUMBER.fullmatch(cell):
                what = f"'{shown(cell)}' in {field} is no number"
                rejects.append(Reject(int(line[place]), what, shown(texts[place].strip()), 1))
            elif float(cell) <= MISSING_AT_MOST_C:
                missing += 1
            else:
                soil_temp_c[row, channel] = float(cell)
    rejects.sort(key=lambda reject: reject.line)
    file = LoggerFile(
        channels=tuple(product.depths_cm),
        line=line[kept],
        observed_at=observed_at[kept],
        soil_temp_c=soil_temp_c,
        missing=missing,
        rejects=tuple(rejects),
    )
    return FeedReadings(product.depths_cm, file)


def read_offset_min(content: bytes, wban: str) -> int:
    """Return a station's standard time as the beginning of its hourly file tells it. [min]

    Raises
    ------
    FeedAnswerError
        When it holds no record of the station.
    """
    _, texts, _ = _split_records(content[: content.rfind(b"\n") + 1], HOURLY, wban)
    _, offset_min = _read_stamps(texts, HOURLY, 0)
    known_min = offset_min[~np.isnan(offset_min)]
    if not known_min.size:
        raise FeedAnswerError(f"no stamp of station {wban} in the hourly product")
    return int(np.median(known_min))


def _split_records(
    content: bytes, product: Product, wban: str
) -> tuple[NDArray[np.int64], list[str], dict[int, str]]:
    """Return a station's lines with their numbers, and which of them are no records and why."""
    numbers: list[int] = []
    texts: list[str] = []
    bad: dict[int, str] = {}
    others: set[str] = set()
    for number, text, reason in _find_records(content, product):
        if reason is None and text[:5] != wban:
            others.add(text[:5])
            continue
        if reason is not None:
            bad[len(texts)] = reason
        numbers.append(number)
        texts.append(text)
    if len(bad) < len(texts):
        return np.array(numbers, np.int64), texts, bad
    if others:
        raise FeedAnswerError(
            f"no record of station {wban}; there is {', '.join(sorted(others)[:5])}: "
            'write wban = "..." as the network has it'
        )
    raise FeedAnswerError(
        f"no record of {product.name} in format {product.format_number}: "
        f"'{shown(content[:200].decode('ascii', 'replace').strip())}'"
    )


def _find_records(content: bytes, product: Product) -> Iterator[tuple[int, str, str | None]]:
    """Yield number, text and fault of each line that is a record or stands where one should be."""
    header = True
    for number, raw in enumerate(content.decode("ascii", "replace").split("\n"), start=1):
        # a run of blanks or NULs may stand in place of a record, or before a good one
        text = raw.strip(_NO_TEXT).replace("\0", "")
        if not raw.strip("\r\x03"):
            continue
        is_record = _RECORD_BEGINS.match(text) is not None
        if header and not is_record:
            _check_header(text, product)
            continue
        header = False
        if not text:
            yield number, text, "blank where a record should be"
        elif len(text) != product.width or len(text.split()) != len(product.widths):
            what = f"{len(text)} characters in {len(text.split())} fields"
            expected = f"{product.width} in {len(product.widths)}"
            yield number, text, f"{what}, not the {expected} of {product.name}"
        else:
            yield number, text, None


def _check_header(text: str, product: Product) -> None:
    names = text.split()
    if "WBANNO" in names and names != list(product.widths):
        strange = [name for name in names if name not in product.widths]
        raise FeedAnswerError(
            f"the header is not that of {product.name} in format {product.format_number}: "
            f"{', '.join(strange[:5]) or 'its fields stand in another order'}"
        )


def _read_stamps(
    texts: list[str], product: Product, utc_offset_min: int
) -> tuple[NDArray[np.datetime64], NDArray[np.float64]]:
    """Return the end of each record's interval in UTC, and its local time less UTC [min] where it
    states both."""
    if product is DAILY:
        ends = _to_instants(texts, product, "LST_DATE", None) + np.timedelta64(1, "D")
        return ends - np.timedelta64(utc_offset_min, "m"), np.empty(0)
    utc = _to_instants(texts, product, "UTC_DATE", "UTC_TIME")
    local = _to_instants(texts, product, "LST_DATE", "LST_TIME")
    return utc, (local - utc) / np.timedelta64(1, "m")


def _to_instants(
    texts: list[str], product: Product, day: str, time: str | None
) -> NDArray[np.datetime64]:
    of_day = product.columns(day)
    of_time = product.columns(time) if time else None
    stamps = [
        f"{text[of_day]}{text[of_time].strip().zfill(4) if of_time else '0000'}" for text in texts
    ]
    parsed = pd.to_datetime(pd.Series(stamps, dtype=str), format="%Y%m%d%H%M", errors="coerce")
    return parsed.to_numpy().astype("datetime64[us]")


def _to_numpy(instant: datetime) -> np.datetime64:
    return np.datetime64(int(instant.timestamp() * 1_000_000), "us")
