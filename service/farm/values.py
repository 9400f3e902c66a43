"""The values of the farm file: what an id, a depth, a clock or a time format may be.

Each check returns its value or raises ValueError with the remedy; the message gets the table, the
key and the value in front (service.farm.problems).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping
from datetime import date
from typing import Annotated, Any
from zoneinfo import ZoneInfo, available_timezones

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    Strict,
    Tag,
)

from alerts.addresses import parse_address, parse_phone
from probes.clock import parse_clock, parse_offset_min
from probes.feeds.awdb import check_element
from probes.time_words import TIME_WORDS
from probes.wall_times import check_time_format
from service.farm.text import one_of, value_text

DEEPEST_CM = 1000
FROM_FIRST_READING = date.min


class FarmTable(BaseModel):
    """What the tables have in common: an unknown key or a value of another type is an error."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


_SHIFT = re.compile(r"([+-])(?:(\d+):(\d\d)(?::(\d\d))?|(\d+) ?(d|h|min|s))", re.ASCII)
_UNIT_S = {"d": 86_400, "h": 3600, "min": 60, "s": 1}
MOST_SHIFT_S = 68 * 365 * 86_400  # a clock that was reset lies years back


def parse_shift_s(text: str) -> int:
    """Return the seconds of "+1h", "-90min", "+9131d" or "-01:00:00"; ValueError for others."""
    found = _SHIFT.fullmatch(text)
    if found is None:
        raise ValueError('write with its sign what is to be added: "+1h", "-90min" or "-01:00:00"')
    sign, hours, minutes, seconds, number, unit = found.groups()
    if unit:
        amount_s = int(number) * _UNIT_S[unit]
    else:
        amount_s = int(hours) * 3600 + int(minutes) * 60 + int(seconds or 0)
    if not 0 < amount_s <= MOST_SHIFT_S:
        raise ValueError(
            "write what is to be added: at least one second, and no more than 68 years"
        )
    return int(f"{sign}{amount_s}")


def shift_text(shift_s: int) -> str:
    """Return "+01:00:00" for 3600."""
    hours, rest_s = divmod(abs(shift_s), 3600)
    return f"{'-' if shift_s < 0 else '+'}{hours:02d}:{rest_s // 60:02d}:{rest_s % 60:02d}"


def _read_by(parse: Callable[[str], object]) -> AfterValidator:
    def check(text: str) -> str:
        parse(text)
        return text

    return AfterValidator(check)


def check_id(text: str) -> str:
    """Refuse what would need quoting in a URL, a file name or "LOGGER:DEPTH"."""
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]*", text):
        raise ValueError(
            'write letters a-z, digits, "-", "_" or ".", beginning with a letter or digit'
        )
    return text


def check_header(text: str) -> str:
    """Refuse what cannot be the header of a column."""
    if not text or "\0" in text:  # PostgreSQL keeps no NUL
        raise ValueError("write the header as it stands in the logger's file")
    return text


def _check_name(text: str) -> str:
    if not text.strip() or not text.isprintable():  # it stands in the subject of a mail
        raise ValueError("write at least one visible character, all in one line")
    return text


def _check_depth(depth_cm: float) -> float:
    if not 1 <= depth_cm <= DEEPEST_CM:  # 0.15 was meant in metres
        raise ValueError(f"a depth lies 1 to {DEEPEST_CM} cm below the surface; write 15")
    return depth_cm


def _check_email(text: str) -> str:
    address = parse_address(text)
    if address.addr_spec != text or "." not in address.domain:
        raise ValueError("is not one mail address; write it like ada@example.org")
    return text


def _check_clock(text: str) -> str:
    if not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", text):
        raise ValueError("is no time of the day; write it like 21:00")
    return text


def _check_quiet(hours: tuple[str, str]) -> tuple[str, str]:
    if hours[0] == hours[1]:
        raise ValueError("begins when it ends; leave it out, or write it like ['21:00', '07:00']")
    return hours


def _check_zone(text: str) -> str:
    try:
        ZoneInfo(text)
    except (KeyError, ValueError, OSError):
        nearest = one_of(available_timezones(), text, at_most=3)
        raise ValueError(f"no such IANA time zone; write {nearest}") from None
    return text


def _check_root_zone(root_zone_cm: tuple[float, float]) -> tuple[float, float]:
    top_cm, bottom_cm = root_zone_cm
    if top_cm >= bottom_cm:
        ordered = [bottom_cm, top_cm] if bottom_cm < top_cm else [15, 45]
        raise ValueError(f"the top must lie above the bottom; write {value_text(ordered)}")
    return root_zone_cm


def probe_name(logger: str, depth_cm: float) -> str:
    """Return how a block names the probes of a logger at a depth: "upper-1:15"."""
    return f"{logger}:{value_text(depth_cm)}"


def split_probe_name(name: str) -> tuple[str, float]:
    """Return the logger and the depth [cm] of "upper-1:15"."""
    logger, _, depth_cm = name.partition(":")
    return logger, float(depth_cm)


def _check_probe(text: str) -> str:
    try:
        logger, depth_cm = split_probe_name(text)
        return probe_name(check_id(logger), _check_depth(depth_cm))
    except ValueError:
        raise ValueError('write logger, colon and depth in cm, such as "upper-1:15"') from None


def _check_time_format(text: str) -> str:
    try:
        check_time_format(text)
    except ValueError as error:
        raise ValueError(str(error).removeprefix(f'time_format "{text}" ')) from None
    if text in TIME_WORDS:
        return text
    marks = set(re.findall("%(.)", text))
    if not (marks & set("Yy") and ("j" in marks or ("d" in marks and marks & set("mbB")))):
        raise ValueError('has no full date; write it like "%Y-%m-%d %H:%M"')
    if not marks & set("HI"):
        raise ValueError("has no time; add %H:%M, and the column that holds it to the key time")
    return text


def _check_encoding(text: str) -> str:
    try:
        "".encode(text)
    except LookupError:
        raise ValueError('no such encoding; write "utf-8", "cp1252" or "utf-16"') from None
    return text


def _check_each_once(values: tuple[str, ...]) -> tuple[str, ...]:
    if not values:
        raise ValueError("the list is empty; name at least one, or leave the key out")
    for value, times in Counter(values).items():
        if times > 1:
            raise ValueError(f"{value_text(value)} stands twice; take one out")
    return values


def _as_list(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


def _as_code(value: Any) -> Any:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return value_text(value) if number else value


AsTuple = Strict(False)  # a TOML array becomes a tuple; its items stay strict
EachOnce = AfterValidator(_check_each_once)

Id = Annotated[str, AfterValidator(check_id)]
Name = Annotated[str, AfterValidator(_check_name)]
Zone = Annotated[str, AfterValidator(_check_zone)]
ShiftText = Annotated[str, _read_by(parse_shift_s)]
UtcOffset = Annotated[str, _read_by(parse_offset_min)]
ClockText = Annotated[str, _read_by(parse_clock)]
TimeFormat = Annotated[str, AfterValidator(_check_time_format)]
Encoding = Annotated[str, AfterValidator(_check_encoding)]
Depth = Annotated[float, AfterValidator(_check_depth)]
RootZone = Annotated[
    tuple[Annotated[float, Field(ge=0)], Depth], AsTuple, AfterValidator(_check_root_zone)
]
ProbeName = Annotated[str, AfterValidator(_check_probe)]
Element = Annotated[str, AfterValidator(check_element)]
Header = Annotated[str, AfterValidator(check_header)]
Headers = Annotated[
    tuple[Header, ...],
    AsTuple,
    EachOnce,
    BeforeValidator(_as_list),
]
MissingCode = Annotated[str, BeforeValidator(_as_code)]
MissingCodes = Annotated[tuple[MissingCode, ...], AsTuple]
PLAIN, TABLE = PLAIN_OR_TABLE = ("<plain>", "<table>")  # pydantic puts it into where an error is
choose_form = Discriminator(lambda value: PLAIN_OR_TABLE[isinstance(value, Mapping | BaseModel)])
Missing = Annotated[
    Annotated[MissingCodes, Tag(PLAIN)] | Annotated[dict[str, MissingCodes], Tag(TABLE)],
    choose_form,
]
Latitude = Annotated[float, Field(ge=-90, le=90)]
Longitude = Annotated[float, Field(ge=-180, le=180)]
Spacing = Annotated[float, Field(gt=0, le=100)]
SilentFactor = Annotated[float, Field(ge=1, le=1000)]
Quiet = Annotated[
    tuple[
        Annotated[str, AfterValidator(_check_clock)], Annotated[str, AfterValidator(_check_clock)]
    ],
    AsTuple,
    AfterValidator(_check_quiet),
]
Email = Annotated[str, AfterValidator(_check_email)]
Phone = Annotated[str, AfterValidator(parse_phone)]
