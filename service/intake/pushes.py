"""Pushed readings: a body of JSON or CSV, strictly read, and put into the store once."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Callable, Mapping
from datetime import datetime

from pydantic import model_validator
from sqlalchemy import Connection

from probes.cells import to_number
from probes.frames import Reject
from probes.logger_lines import shown
from probes.units import f_to_c
from service.intake.given import Given, gather
from service.intake.ingest import Source, ingest
from service.intake.json_bodies import BodyError, Strict, read_readings
from service.intake.known import find_known
from service.intake.reports import ImportReport
from service.store.loggers import fetch_logger

CSV_HEADER = ["observed_at", "depth_cm", "soil_temp_c"]

Body = tuple[list[Given], list[Reject]]


class PushedReading(Strict):
    """One reading: its depth or channel, its temperature in °C or °F; null: missing."""

    observed_at: str
    depth_cm: float | None = None
    channel: str | None = None
    soil_temp_c: float | None = None
    soil_temp_f: float | None = None

    @model_validator(mode="after")
    def _check_choices(self) -> PushedReading:
        if (self.depth_cm is None) == (self.channel is None):
            raise ValueError("give depth_cm or channel, one of the two")
        if len({"soil_temp_c", "soil_temp_f"} & self.model_fields_set) != 1:
            raise ValueError("give soil_temp_c or soil_temp_f, one of the two")
        return self


def read_json(body: bytes) -> Body:
    """Return the readings of a JSON body."""
    given, rejects = [], []
    for number, one in enumerate(read_readings(body, PushedReading), start=1):
        if isinstance(one, Reject):
            rejects.append(one)
            continue
        temp_c = one.soil_temp_c if one.soil_temp_f is None else f_to_c(one.soil_temp_f)
        text = one.model_dump_json(exclude_unset=True)
        given.append(Given(number, one.observed_at, one.depth_cm, one.channel, temp_c, text))
    return given, rejects


def read_csv(body: bytes) -> Body:
    """Return the readings of a CSV body."""
    try:
        text = body.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
        header, *rows = filter(None, csv.reader(text.split("\n"), strict=True))
    except UnicodeDecodeError:
        raise BodyError("body: not UTF-8") from None
    except (csv.Error, ValueError):
        raise BodyError("body: no CSV") from None
    if header != CSV_HEADER or not rows:
        raise BodyError(f"body: the first line must be {','.join(CSV_HEADER)}, readings follow")
    given, rejects = [], []
    for number, row in enumerate(rows, start=1):
        text = io.StringIO()
        csv.writer(text, lineterminator="").writerow(row)
        try:
            given.append(_read_row(number, row, text.getvalue()))
        except ValueError as error:
            rejects.append(Reject(number, str(error), shown(text.getvalue()), 1))
    return given, rejects


def _read_row(number: int, row: list[str], text: str) -> Given:
    if len(row) != len(CSV_HEADER):
        raise ValueError(f"has {len(row)} cells, not {len(CSV_HEADER)}")
    observed_at, depth, temp = (cell.strip() for cell in row)
    depth_cm, temp_c = to_number(depth, "."), to_number(temp, ".")
    if depth_cm is None:
        raise ValueError(f"depth_cm = '{shown(depth)}' is no number")
    if temp_c is None and temp:
        raise ValueError(f"soil_temp_c = '{shown(temp)}' is no number")
    return Given(number, observed_at, depth_cm, None, temp_c, text)


READERS: Mapping[str, Callable[[bytes], Body]] = {
    "application/json": read_json,
    "text/csv": read_csv,
}


def keep_push(
    connection: Connection, logger_id: str, body: bytes, content: Body, now: datetime
) -> ImportReport:
    """Put a push into the store, or return the report of the first time that it came.

    The caller holds the write transaction.
    """
    logger = fetch_logger(connection, logger_id, lock=True)
    if logger.by_hand is not None:
        raise BodyError(f"{logger_id} is a thermometer: post its readings to /api/hand-readings")
    sha256 = hashlib.sha256(body).hexdigest()
    known = find_known(connection, logger_id, sha256, "push", now)
    if known is not None:
        return known.report
    file = gather(logger, *content)
    return ingest(connection, logger, Source("push", "push", sha256), file, now)
