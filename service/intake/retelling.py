"""What is kept of a logger over a span, told again by all deliveries that stand.

What the store keeps is a function of these, in the order in which they came, and of what people
have settled; `ingest` adds one more without reading the others again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from probes.checks import pack_provider
from probes.frames import NOT_EVALUATED, LoggerFile, Readings
from service.daily_means import find_days
from service.flags import refresh_flags
from service.intake.content import believe, read_content
from service.intake.keeping import span_of_days
from service.intake.merging import Resolution, resolve_readings
from service.store.changes import count_change
from service.store.imports import (
    Batch,
    fetch_batches,
    fetch_content,
    of_span,
    stands,
    update_batch,
)
from service.store.loggers import Logger, Probe
from service.store.readings import (
    CheckedReadings,
    delete_readings,
    fetch_import_ids,
    fetch_readings,
    insert_readings,
    insert_shifted_stamps,
    list_conflicts,
)
from service.store.settlements import fetch_settlements

COUNTED = ("inserted", "identical", "conflicting")


@dataclass(frozen=True)
class Retold:
    """How many readings are new, gone, or have another value."""

    new: int = 0
    gone: int = 0
    changed: int = 0

    def __add__(self, other: Retold) -> Retold:
        """Return both together."""
        return Retold(self.new + other.new, self.gone + other.gone, self.changed + other.changed)

    def __bool__(self) -> bool:
        """Return whether anything is otherwise."""
        return any(vars(self).values())


@dataclass(frozen=True)
class _Told:
    """All values told of one probe over a span, in the order in which they came.

    batch : (n,) intp, the place of the delivery that told it
    """

    batch: NDArray[np.intp]
    observed_at: NDArray[np.datetime64]
    soil_temp_c: NDArray[np.float64]
    shift: NDArray[np.timedelta64]
    suspect: NDArray[np.bool_]


def read_batch(connection: Connection, logger: Logger, batch: Batch) -> LoggerFile:
    """Read a delivery again, as it was read when it came."""
    content = fetch_content(connection, batch.id)
    file = read_content(content, batch.file, logger.layout_name, logger.id, batch.imported_at)
    return believe(file, batch.source, batch.imported_at)


def retell(connection: Connection, logger: Logger, first_at: datetime, last_at: datetime) -> Retold:
    """Keep what the deliveries that stand say of the days from one instant to another.

    Their counts say what they come to now; days that are kept as means only stay as they are. The
    caller holds the lock on the logger.
    """
    ends = np.array([first_at.replace(tzinfo=None), last_at.replace(tzinfo=None)], "M8[us]")
    first_day, last_day = find_days(ends, logger.utc_offset_min)
    span = span_of_days(logger, first_day.item(), last_day.item())
    if logger.frozen_until is not None:
        span = max(span[0], logger.frozen_until), span[1]
        if span[1] <= span[0]:
            return Retold()
    batches = fetch_batches(connection, stands(logger.id), of_span(*span))
    files = [read_batch(connection, logger, batch) for batch in batches]
    import_ids = np.array([batch.id for batch in batches], np.int32)
    retold = Retold()
    before, after = np.zeros((2, len(COUNTED), len(batches)), np.int64)
    for probe in logger.probes:
        told = _tell(probe, files, span)
        stored = fetch_readings(connection, probe.id, *span)
        stored_ids = fetch_import_ids(connection, probe.id, *span)
        settled = fetch_settlements(connection, probe.id, *span)
        found = resolve_readings(told.observed_at, told.soil_temp_c, *vars(settled).values())
        kept_c = told.soil_temp_c[found.kept]
        flag = np.full(kept_c.size, NOT_EVALUATED, np.int8)
        checks = pack_provider(told.suspect[found.kept])
        kept = CheckedReadings(told.observed_at[found.kept], kept_c, flag, checks)
        retold += _compare(stored, kept)
        stands_still = np.isin(stored_ids, import_ids)
        batch_of_stored = np.searchsorted(import_ids, stored_ids[stands_still])
        before += _count_stored(told, stored, batch_of_stored, len(batches))
        after += _count(told, found, len(batches))
        _replace(connection, probe, span, import_ids, told, found, kept)
    _recount(connection, batches, span, after, after - before)
    refresh_flags(connection, logger, *span)
    if retold:
        count_change(connection, logger.id)
    return retold


def _tell(probe: Probe, files: Sequence[LoggerFile], span: tuple[datetime, datetime]) -> _Told:
    after, until = (np.datetime64(end.replace(tzinfo=None), "us") for end in span)
    parts = [
        _Told(
            np.empty(0, np.intp),
            np.empty(0, "M8[us]"),
            np.empty(0),
            np.empty(0, "timedelta64[us]"),
            np.empty(0, np.bool_),
        )
    ]
    for place, file in enumerate(files):
        if probe.channel not in file.channels:
            continue
        channel = file.channels.index(probe.channel)
        soil_temp_c = file.soil_temp_c[:, channel]
        at = file.observed_at
        (rows,) = np.nonzero(~np.isnan(soil_temp_c) & (at > after) & (at <= until))
        shift = np.zeros(at.size, "timedelta64[us]") if file.shift is None else file.shift
        suspect = np.zeros(at.size, np.bool_) if file.suspect is None else file.suspect[:, channel]
        parts.append(
            _Told(
                np.full(rows.size, place), at[rows], soil_temp_c[rows], shift[rows], suspect[rows]
            )
        )
    columns = zip(*(vars(part).values() for part in parts), strict=True)
    return _Told(*map(np.concatenate, columns))


def _compare(stored: Readings, kept: Readings) -> Retold:
    same, here, there = np.intersect1d(
        stored.observed_at, kept.observed_at, assume_unique=True, return_indices=True
    )
    changed = stored.soil_temp_c[here] != kept.soil_temp_c[there]
    return Retold(
        kept.observed_at.size - same.size, stored.observed_at.size - same.size, int(changed.sum())
    )


def _count(told: _Told, found: Resolution, batches: int) -> NDArray[np.int64]:
    """Return how much of each delivery is kept, identical with that, or conflicts with it."""
    return _as_counts(told, told.batch[found.kept], told.batch[found.differs], batches)


def _count_stored(
    told: _Told, stored: Readings, batch_of_stored: NDArray[np.intp], batches: int
) -> NDArray[np.int64]:
    """Return the same by what the store holds; of a delivery that is not in it yet, nothing."""
    held = np.isin(told.observed_at, stored.observed_at)
    place = np.searchsorted(stored.observed_at, told.observed_at[held])
    differs = told.soil_temp_c[held] != stored.soil_temp_c[place]
    return _as_counts(told, batch_of_stored, told.batch[held][differs], batches)


def _as_counts(
    told: _Told, inserted: NDArray[np.intp], conflicting: NDArray[np.intp], batches: int
) -> NDArray[np.int64]:
    total, new, other = (
        np.bincount(of, minlength=batches) for of in (told.batch, inserted, conflicting)
    )
    return np.array([new, total - new - other, other])


def _replace(
    connection: Connection,
    probe: Probe,
    span: tuple[datetime, datetime],
    import_ids: NDArray[np.int32],
    told: _Told,
    found: Resolution,
    kept: Readings,
) -> None:
    delete_readings(connection, probe.id, *span)
    insert_readings(connection, probe.id, import_ids[told.batch[found.kept]], kept)
    others = found.others
    list_conflicts(
        connection,
        probe.id,
        import_ids[told.batch[others]],
        told.observed_at[others],
        told.soil_temp_c[others],
    )
    insert_shifted_stamps(connection, probe.id, kept.observed_at, told.shift[found.kept])


def _recount(
    connection: Connection,
    batches: Sequence[Batch],
    span: tuple[datetime, datetime],
    counts: NDArray[np.int64],
    more: NDArray[np.int64],
) -> None:
    """Give each delivery its counts: all of them, or by how much they are more now."""
    after, until = span
    for place, batch in enumerate(batches):
        ends = [end for end in (batch.first_at, batch.last_at) if end is not None]
        if all(after < end <= until for end in ends):
            now = counts[:, place].tolist()
        else:
            was = [getattr(batch, name) for name in COUNTED]
            now = [old + grown for old, grown in zip(was, more[:, place].tolist(), strict=True)]
        update_batch(connection, batch.id, **dict(zip(COUNTED, now, strict=True)))
