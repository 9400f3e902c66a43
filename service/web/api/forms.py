"""Records as JSON or as CSV, whichever the asker wants."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict

from service.csv_cells import guard_cell

Form = Literal["json", "csv"]
MEDIA: dict[Form, str] = {"json": "application/json", "csv": "text/csv"}


class Record(BaseModel):
    """What is told of one thing."""

    model_config = ConfigDict(frozen=True)


def choose_form(accept: str) -> Form | None:
    """Return the form that an Accept header prefers; None: it takes neither. [RFC-9110] 12.5.1"""
    as_json, as_csv = (_weigh(media, accept or "*/*") for media in MEDIA.values())
    if max(as_json, as_csv) == 0:
        return None
    return "json" if as_json >= as_csv else "csv"


def _weigh(media: str, accept: str) -> float:
    """Return how much a type is wanted; of the ranges that hold it the narrowest says so."""
    ranges: dict[str, float] = {}
    for one in accept.lower().split(","):
        name, *parameters = (part.strip() for part in one.split(";"))
        weight = next((part[2:] for part in parameters if part.startswith("q=")), "1")
        ranges[name] = float(weight) if weight.replace(".", "", 1).isdecimal() else 0.0
    narrowing = (media, f"{media.partition('/')[0]}/*", "*/*")
    return next((ranges[one] for one in narrowing if one in ranges), 0.0)


def write(records: Sequence[Record], of: type[Record], form: Form) -> bytes:
    """Return records as a list of JSON, or as CSV with a line of names."""
    if form == "json":
        return f"[{','.join(one.model_dump_json() for one in records)}]".encode()
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")  # source: [RFC-4180] 2
    writer.writerow(of.model_fields)
    for one in records:
        writer.writerow(map(_cell, one.model_dump(mode="json").values()))
    return text.getvalue().encode()


def _cell(value: Any) -> Any:
    """Return a value as CSV has it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        value = "; ".join(map(str, value))
    return guard_cell(value)
