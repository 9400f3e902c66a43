"""Readings by hand into the store: what was written becomes an instant, or is refused with why."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np
from sqlalchemy import Connection

from alerts.hand_words import HandReadingError, Noted, refuse, write_temperature
from probes.checks.gross_range import GrossRange
from probes.clock import AMBIGUOUS, NONEXISTENT, local_to_utc, parse_clock
from probes.daily import find_usable
from probes.frames import Readings, Reject
from probes.hand_texts import HandTextError, parse_temperature
from probes.units import Unit, to_c
from service.daily_means import find_days
from service.farm.text import value_text
from service.intake.beside import find_beside
from service.intake.given import Given, gather
from service.intake.ingest import Source, ingest
from service.store.daily import fetch_daily_errors, fetch_daily_means
from service.store.imports import fetch_batches
from service.store.loggers import Logger, fetch_logger
from service.store.readings import fetch_readings
from service.store.tables import import_batch
from service.store.thermometers import (
    HandNote,
    Thermometer,
    fetch_thermometers,
    store_hand_notes,
)

SAME_DEPTH_CM = 1.0
"""12 in are 30 cm."""
CLOCKS_MAY_DIFFER = timedelta(minutes=5)
"""A watch may run ahead of ours by as much."""

Way = Literal["command", "file", "page", "api", "text"]


@dataclass(frozen=True)
class Written:
    """A reading by hand as it was written.

    at : "2026-04-12 08:30" of the place, or with an offset
    depth_cm : None: not said
    temperature : "61.5F", or without unit where the thermometer has one
    """

    at: str
    depth_cm: float | None
    temperature: str
    person: str = ""
    note: str = ""


@dataclass(frozen=True)
class HandReport:
    """What became of readings by hand; the numbers are those of the readings, the first being 1.

    import_id : of the batch that holds what was taken; None: nothing was
    unread : what was no reading at all
    """

    noted: tuple[tuple[int, Noted], ...]
    refused: tuple[tuple[int, HandReadingError], ...]
    import_id: int | None
    unread: tuple[Reject, ...] = ()

    @property
    def not_taken(self) -> list[tuple[int, str]]:
        """The numbers of the readings that were not taken, in order, each with why, in English."""
        unread = [(reject.line, reject.reason) for reject in self.unread]
        return sorted([*unread, *((number, refuse(why, "en")) for number, why in self.refused)])


@dataclass(frozen=True)
class _Taken:
    number: int
    written: Written
    observed_at: datetime
    depth_cm: float
    temp_c: float
    unit: Unit


def find_thermometer(connection: Connection, thermometer_id: str) -> Thermometer:
    """Return a thermometer in use; HandReadingError names those there are."""
    in_use = {one.id: one for one in fetch_thermometers(connection)}
    if thermometer_id not in in_use:
        raise HandReadingError("no thermometer", thermometer_id, list(in_use))
    return in_use[thermometer_id]


def keep_hand_readings(
    connection: Connection,
    thermometer: Thermometer,
    written: Sequence[Written | Reject],
    way: Way,
    now: datetime,
) -> HandReport:
    """Put readings with one thermometer into the store as one batch; what cannot be is refused.

    Where one could not even be read, its place holds the reject, of its number. The caller holds
    the write transaction.
    """
    taken: list[_Taken] = []
    rejects: list[Reject] = []
    refused: list[tuple[int, HandReadingError]] = []
    unread = tuple(one for one in written if isinstance(one, Reject))
    logger = fetch_logger(connection, thermometer.id, lock=True)
    for number, one in enumerate(written, start=1):
        if isinstance(one, Reject):
            continue
        try:
            of_one = _take(number, one, thermometer, now)
            if logger.frozen_until and of_one.observed_at <= logger.frozen_until:
                raise HandReadingError("too late", one.at, [f"{logger.frozen_before}"])
            taken.append(of_one)
        except HandReadingError as refusal:
            refused.append((number, refusal))
            rejects.append(Reject(number, refuse(refusal, "en"), one.temperature, 1))
    if not taken:
        return HandReport((), tuple(refused), None, unread)
    before = [_kept(connection, logger, one).soil_temp_c.size for one in taken]
    given = [
        Given(one.number, one.observed_at.isoformat(), one.depth_cm, None, one.temp_c, "")
        for one in taken
    ]
    content = [thermometer.id, *written, now]  # the same again is a batch of its own
    sha256 = hashlib.sha256(repr(content).encode()).hexdigest()
    file = gather(logger, given, [*rejects, *unread])
    ingest(connection, logger, Source("hand", way, sha256), file, now)
    *_, batch = fetch_batches(connection, import_batch.c.sha256 == sha256)
    store_hand_notes(connection, [_note(batch.id, logger, one) for one in taken])
    noted = []
    for one, was_noted in zip(taken, before, strict=True):
        kept = _kept(connection, logger, one)
        kept_c = kept.soil_temp_c.item()
        if kept_c == one.temp_c:
            counts = find_usable(kept, logger.use_suspect).item()
            what = _noted(connection, logger, thermometer, one, bool(was_noted), counts)
            noted.append((one.number, what))
        else:
            refusal = HandReadingError("other value", temp_c=kept_c, unit=one.unit)
            refused.append((one.number, refusal))
    refused.sort(key=lambda pair: pair[0])
    return HandReport(tuple(noted), tuple(refused), batch.id, unread)


def _take(number: int, written: Written, thermometer: Thermometer, now: datetime) -> _Taken:
    """Return what was written as an instant, a depth and a temperature; HandReadingError."""
    temp_c, unit = _read_temperature(written.temperature, thermometer)
    depth_cm = _find_depth(written.depth_cm, thermometer)
    observed_at = read_time(written.at, thermometer)
    if observed_at > now + CLOCKS_MAY_DIFFER:
        raise HandReadingError("to come", written.at)
    return _Taken(number, written, observed_at, depth_cm, temp_c, unit)


def _read_temperature(text: str, thermometer: Thermometer) -> tuple[float, Unit]:
    try:
        value, unit = parse_temperature(text)
    except HandTextError as error:
        raise HandReadingError("no temperature", error.part) from None
    unit = unit or thermometer.unit
    if unit is None:
        raise HandReadingError("no unit", text.strip())
    temp_c = to_c(value, unit)
    if not _can_be(temp_c):
        other: Unit = "C" if unit == "F" else "F"
        hint = [write_temperature(to_c(value, other), other)] * _can_be(to_c(value, other))
        raise HandReadingError("cannot be", text.strip(), hint, temp_c, unit)
    return temp_c, unit


def _can_be(temp_c: float) -> bool:
    lowest_c, highest_c = GrossRange().user_c
    return lowest_c <= temp_c <= highest_c


def _find_depth(depth_cm: float | None, thermometer: Thermometer) -> float:
    known = [f"{value_text(one)} cm" for one in thermometer.depths_cm]
    if depth_cm is None:
        if len(thermometer.depths_cm) > 1:
            raise HandReadingError("no depth", known=known)
        return min(thermometer.depths_cm)
    nearest_cm = min(thermometer.depths_cm, key=lambda one: abs(one - depth_cm))
    if abs(nearest_cm - depth_cm) > SAME_DEPTH_CM:
        raise HandReadingError("other depth", f"{depth_cm:g} cm", known)
    return nearest_cm


def read_time(text: str, thermometer: Thermometer) -> datetime:
    """Return the instant that was written by the clock of the place, or with its offset, in UTC."""
    try:
        at = datetime.fromisoformat(text.strip())
        if at.year < 1900 or (len(text.strip()) <= len("2026-04-12")):
            raise ValueError
        if at.tzinfo is not None:
            return at.astimezone(UTC)
    except (ValueError, OverflowError):
        raise HandReadingError("no time", text.strip()) from None
    instants, problems = local_to_utc(
        np.array([at], "datetime64[us]"), parse_clock(thermometer.timezone)
    )
    (instant,), (problem,) = instants.tolist(), problems.tolist()
    if problem == AMBIGUOUS:
        first = at.replace(tzinfo=ZoneInfo(thermometer.timezone))
        both = [moment.isoformat(timespec="minutes") for moment in (first, first.replace(fold=1))]
        raise HandReadingError("time twice", text.strip(), both)
    if problem == NONEXISTENT:
        raise HandReadingError("time left out", text.strip())
    return instant.replace(tzinfo=UTC)


def _probe_id(logger: Logger, depth_cm: float) -> int:
    """Return the probe of a depth; a thermometer has one for each, from the first reading on."""
    return next(
        probe.id
        for probe in logger.probes
        for stretch in probe.stretches
        if stretch.depth_cm == depth_cm
    )


def _kept(connection: Connection, logger: Logger, one: _Taken) -> Readings:
    """Return what is kept for the time of a reading: one, or none."""
    just_before = one.observed_at - timedelta(microseconds=1)
    return fetch_readings(connection, _probe_id(logger, one.depth_cm), just_before, one.observed_at)


def _note(import_id: int, logger: Logger, one: _Taken) -> HandNote:
    said = write_temperature(one.temp_c, one.unit)
    probe_id = _probe_id(logger, one.depth_cm)
    written = one.written
    return HandNote(
        import_id, one.number, probe_id, one.observed_at, said, written.person, written.note
    )


def _noted(
    connection: Connection,
    logger: Logger,
    thermometer: Thermometer,
    one: _Taken,
    again: bool,
    counts: bool,
) -> Noted:
    probe_id, place = _probe_id(logger, one.depth_cm), (one.depth_cm, one.observed_at)
    instant = np.array([one.observed_at.replace(tzinfo=None)], "datetime64[us]")
    (day,) = find_days(instant, logger.utc_offset_min).tolist()
    means_c = fetch_daily_means(connection, [probe_id], day, day).mean_c.tolist()
    errors_c = [error_c for *_, error_c in fetch_daily_errors(connection, [probe_id], day, day)]
    return Noted(
        thermometer=thermometer.name,
        depth_cm=one.depth_cm,
        observed_at=one.observed_at.astimezone(ZoneInfo(thermometer.timezone)),
        temp_c=one.temp_c,
        unit=one.unit,
        again=again,
        counts=counts,
        day_c=means_c[0] if errors_c else None,
        error_c=errors_c[0] if errors_c else None,
        beside=tuple(find_beside(connection, thermometer.site_id, place, one.temp_c)),
    )
