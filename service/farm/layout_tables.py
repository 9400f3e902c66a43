"""Layouts of the farm file, [layout.NAME]: how a logger's files are read."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationInfo, field_validator

from probes.clock import IN_STAMP
from probes.layouts import ALL_COLUMNS, BLANKS
from service.farm.text import one_of, value_text
from service.farm.values import (
    ClockText,
    Depth,
    Encoding,
    FarmTable,
    Header,
    Headers,
    Missing,
    TimeFormat,
    check_header,
)


class LayoutTable(FarmTable):
    """How a logger's files are read; layouts.layout_from_spec gives the reader's view of it."""

    clock: ClockText
    time: Headers
    time_format: TimeFormat
    stamp: Literal["end", "start", "instant"]
    interval_min: Annotated[float, Field(gt=0, le=1440)]
    unit: Literal["F", "C"]
    depth: Header | None = None
    value: Header | None = Field(default=None, validate_default=True)
    logger: Header | None = None
    columns: dict[str, Depth]
    missing: Missing = ("",)
    header: bool = True
    skip: Annotated[int, Field(ge=0)] | None = None
    delimiter: str = ","
    decimal: Literal[".", ","] = "."
    encoding: Encoding = "utf-8"
    sheet: Header | None = None
    order: Literal["time", "any"] = "time"

    @field_validator("time_format")
    @classmethod
    def _check_time_format(cls, time_format: str, info: ValidationInfo) -> str:
        if info.data.get("clock") == IN_STAMP and time_format != "iso8601":
            raise ValueError(
                'does not read the offset that clock = "stamp" asks for; write "iso8601"'
            )
        return time_format

    @field_validator("value")
    @classmethod
    def _check_value(cls, value: str | None, info: ValidationInfo) -> str | None:
        if (value is None) != (info.data.get("depth") is None):
            raise ValueError("depth and value go together, a row a depth; write both or neither")
        return value

    @field_validator("columns")
    @classmethod
    def _check_columns(cls, columns: dict[str, float], info: ValidationInfo) -> dict[str, float]:
        if not columns:
            raise ValueError("no depth column; write columns = { T1 = 15 }")
        headers = _headers_beside_columns(info.data)
        depths = [check_header(header) for header in columns]
        # In long form the keys of `columns` are texts of the depth column, and no headers.
        groups = [headers + depths] if info.data.get("depth") is None else [headers, depths]
        for group in groups:
            for header, times in Counter(header.strip() for header in group).items():
                if times > 1:
                    raise ValueError(
                        f"two columns are named {value_text(header)}; "
                        "each needs a header of its own"
                    )
        return columns

    @field_validator("header")
    @classmethod
    def _check_header(cls, header: bool, info: ValidationInfo) -> bool:
        names = _headers_beside_columns(info.data)
        names += info.data.get("columns", ()) if info.data.get("depth") is None else ()
        for name in names:
            if not header and not re.fullmatch("[1-9][0-9]{0,3}", name):
                raise ValueError(
                    f"no header names {value_text(name)}; write the number of its column, the "
                    'first being "1"'
                )
        return header

    @field_validator("missing")
    @classmethod
    def _check_missing(cls, missing: Any, info: ValidationInfo) -> Any:
        known = {*info.data.get("columns", missing), ALL_COLUMNS}
        for column in missing if isinstance(missing, dict) else ():
            if column not in known:
                raise ValueError(f"no such column; write {one_of(known, column)}")
        return missing

    @field_validator("delimiter")
    @classmethod
    def _check_delimiter(cls, delimiter: str) -> str:
        if delimiter != BLANKS and (
            len(delimiter) != 1 or delimiter.isalnum() or delimiter in '\0\r\n"'
        ):
            raise ValueError(
                r'write the one character between two cells: ",", ";" or "\t"; or "spaces"'
            )
        return delimiter


def _headers_beside_columns(known: Mapping[str, Any]) -> list[str]:
    others = [known.get(key) for key in ("depth", "value", "logger")]
    return [*known.get("time", ()), *(header for header in others if header is not None)]
