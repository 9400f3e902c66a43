"""Flags of readings: decided here, whatever brought the readings or changed what they rest on.

However readings come, in whichever order and split, their flags are those that the checks give to
all of them at once: what changes within a span is flagged again as far as that can reach. Where a
person has overruled the checks, the flag is theirs; what the checks found stays beside it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from probes.checks import (
    PROVIDER,
    Pass,
    ProbeSeries,
    Span,
    check_logger,
    explain,
    find_passes,
    find_within,
    merge_spans,
    replace_results,
    roll_up,
    unpack,
)
from probes.frames import GOOD, NOT_EVALUATED, Readings
from service.daily_means import find_days, find_probe_means, find_stretches
from service.store.daily import fetch_daily_means, store_daily_means
from service.store.loggers import Logger, Probe
from service.store.overrules import Overrule, fetch_holding
from service.store.readings import (
    CheckedReadings,
    fetch_checked_readings,
    fetch_ends,
    update_flags,
)
from service.store.types import from_epoch_us, to_epoch_us

DAY = np.timedelta64(1, "D")
INSTANT = np.timedelta64(1, "us")


@dataclass(frozen=True)
class Flagged:
    """Readings of one probe, whole days of them, as they are flagged now.

    is_new : (n,) bool, which are not in the store yet
    differs : (n,) bool, which lie there with another flag or other results
    """

    readings: CheckedReadings
    is_new: NDArray[np.bool_]
    differs: NDArray[np.bool_]


@dataclass(frozen=True)
class _Piece:
    """Readings of a probe at one depth, and where among all of the probe they stand."""

    probe_id: int
    place: NDArray[np.intp]
    series: ProbeSeries

    def within(self, spans: Sequence[Span]) -> _Piece:
        which = find_within(self.series.observed_at, spans)
        return _Piece(self.probe_id, self.place[which], self.series.where(which))


def refresh_flags(
    connection: Connection,
    logger: Logger,
    after: datetime | None = None,
    until: datetime | None = None,
) -> None:
    """Flag again all that readings of a span reach: they are new, gone, changed or overruled.

    The daily means of the span, and of all days whose flags change, are computed again. What is
    kept as daily means only stays as it is.
    """
    frozen_until = logger.frozen_until
    if frozen_until is not None:
        after = max(after or frozen_until, frozen_until)
        if until is not None and until <= after:
            return
    extent = _find_extent(connection, logger.probes, ())
    changed = (
        extent[0] if after is None else np.datetime64(to_epoch_us(after), "us"),
        extent[1] if until is None else np.datetime64(to_epoch_us(until), "us"),
    )
    first, last = find_days(np.array([changed[0] + INSTANT, changed[1]]), logger.utc_offset_min)
    ends = date.min if after is None else first.item(), date.max if until is None else last.item()
    flagged = _flag(connection, logger, changed, extent, {})
    for probe in logger.probes:
        stored = fetch_daily_means(connection, [probe.id], *ends).day
        held = find_days(flagged[probe.id].readings.observed_at, logger.utc_offset_min)
        days = np.union1d(stored, held[(held >= first) & (held <= last)])
        keep_flags(connection, logger, probe, flagged[probe.id], days)


def flag_new(
    connection: Connection, logger: Logger, new: Mapping[int, CheckedReadings]
) -> Mapping[int, Flagged]:
    """Return the flags of readings that the store is to hold, by probe, and of those they reach."""
    instants = [readings.observed_at for readings in new.values() if readings.observed_at.size]
    if not instants:
        return {}
    ends = min(each.min() for each in instants), max(each.max() for each in instants)
    changed = ends[0] - INSTANT, ends[1]
    extent = _find_extent(connection, logger.probes, ends)
    return _flag(connection, logger, changed, extent, new)


def explain_flag(
    connection: Connection, logger: Logger, probe: Probe, observed_at: datetime
) -> Iterator[tuple[str, int, str]]:
    """Yield each test of a stored reading, its result, and why where that is not good."""
    at = np.datetime64(to_epoch_us(observed_at), "us")
    extent = _find_extent(connection, logger.probes, ())
    passes, gathered, pieces = _read(connection, logger, (at - INSTANT, at), extent, {})
    results, thresholds = {}, logger.checks.thresholds
    for one in passes:
        seen = [piece.within(one.sees) for piece in pieces]
        series = [piece.series for piece in seen]
        asked = [test for test in one.tests if test in logger.checks.tests]
        codes = check_logger(series, thresholds, asked)
        for number, (piece, found) in enumerate(zip(seen, codes, strict=True)):
            (here,) = np.nonzero(piece.series.observed_at == at)
            if piece.probe_id != probe.id or not here.size:
                continue
            place = int(here[0])
            for test in asked:
                result = int(unpack(found[place])[test])
                fault = result != GOOD
                why = explain(test, series, number, place, thresholds) if fault else ""
                results[test] = result, why
    for test in logger.checks.tests:
        yield test, *results[test]
    readings, _ = gathered[probe.id]
    (said,) = unpack(readings.checks[readings.observed_at == at])[PROVIDER].tolist()
    if said != NOT_EVALUATED:
        yield PROVIDER, said, "the network's own flag"


def keep_flags(
    connection: Connection,
    logger: Logger,
    probe: Probe,
    flagged: Flagged,
    days: NDArray[np.datetime64] | tuple[()] = (),
) -> None:
    """Write the flags that differ; compute the days of these and of new readings, and some more."""
    readings = flagged.readings
    update_flags(connection, probe.id, readings.where(flagged.differs))
    day = find_days(readings.observed_at, logger.utc_offset_min)
    touched = day[flagged.is_new | flagged.differs]
    days = np.union1d(np.array(days, touched.dtype), touched)
    means = find_probe_means(logger, probe, readings.where(np.isin(day, days)))
    store_daily_means(connection, probe.id, days, means)


def _find_extent(
    connection: Connection, probes: Sequence[Probe], further: Sequence[np.datetime64]
) -> Span:
    """Return the span of all readings of probes, and of some further instants."""
    ends = [end for probe in probes for end in fetch_ends(connection, probe.id)]
    instants = [*(np.datetime64(to_epoch_us(end), "us") for end in ends), *further]
    if not instants:
        return np.datetime64(0, "us"), np.datetime64(0, "us")
    return min(instants) - INSTANT, max(instants)


def _flag(
    connection: Connection,
    logger: Logger,
    changed: Span,
    extent: Span,
    new: Mapping[int, CheckedReadings],
) -> dict[int, Flagged]:
    passes, gathered, pieces = _read(connection, logger, changed, extent, new)
    codes = {probe_id: readings.checks.copy() for probe_id, (readings, _) in gathered.items()}
    for one in passes:
        seen = [piece.within(one.sees) for piece in pieces]
        asked = [test for test in one.tests if test in logger.checks.tests]
        codes_seen = check_logger([piece.series for piece in seen], logger.checks.thresholds, asked)
        for piece, found in zip(seen, codes_seen, strict=True):
            target = find_within(piece.series.observed_at, one.targets)
            code, place = codes[piece.probe_id], piece.place[target]
            code[place] = replace_results(code[place], found[target], one.tests)
    targets = _thaw(logger, merge_spans(span for one in passes for span in one.targets))
    overrules = fetch_holding(connection, logger.id)
    return {
        probe.id: _compare(*gathered[probe.id], codes[probe.id], overrules[probe.channel], targets)
        for probe in logger.probes
    }


def _thaw(logger: Logger, targets: Sequence[Span]) -> list[Span]:
    """Return the parts of spans in which flags may change."""
    if logger.frozen_until is None:
        return list(targets)
    frozen = np.datetime64(to_epoch_us(logger.frozen_until), "us")
    return [(max(start, frozen), end) for start, end in targets if end > frozen]


def _read(
    connection: Connection,
    logger: Logger,
    changed: Span,
    extent: Span,
    new: Mapping[int, CheckedReadings],
) -> tuple[list[Pass], dict[int, tuple[CheckedReadings, NDArray[np.bool_]]], list[_Piece]]:
    """Return the passes after a change, all readings that they see by probe, and as pieces."""
    depths_cm = [stretch.depth_cm for probe in logger.probes for stretch in probe.stretches]
    deepest_cm = max(depths_cm, default=0.0)
    checks = logger.checks
    passes = find_passes(changed, extent, checks.thresholds, deepest_cm, checks.tests)
    spans = merge_spans((start - DAY, end + DAY) for one in passes for start, end in one.sees)
    gathered = {
        probe.id: _gather(connection, probe, spans, new.get(probe.id)) for probe in logger.probes
    }
    pieces = [
        piece for probe in logger.probes for piece in _cut(logger, probe, gathered[probe.id][0])
    ]
    return passes, gathered, pieces


def _gather(
    connection: Connection, probe: Probe, spans: Sequence[Span], new: CheckedReadings | None
) -> tuple[CheckedReadings, NDArray[np.bool_]]:
    """Return a probe's readings of some spans, and which of them are new."""
    parts = [
        fetch_checked_readings(
            connection, probe.id, *(from_epoch_us(int(end.astype(np.int64))) for end in span)
        )
        for span in spans
    ]
    stored = sum(part.observed_at.size for part in parts)
    if new is not None:
        parts.append(new)
    together = CheckedReadings.join(parts)
    is_new = np.arange(together.observed_at.size) >= stored
    order = np.argsort(together.observed_at, kind="stable")
    return together.where(order), is_new[order]


def _cut(logger: Logger, probe: Probe, readings: Readings) -> Iterator[_Piece]:
    """Yield a probe's readings depth by depth, calibrated as they were."""
    stretch = find_stretches(probe, readings.observed_at, logger.utc_offset_min)
    # the last ones are for readings from when it lay nowhere
    depths_cm = np.array([*(one.depth_cm for one in probe.stretches), np.nan])
    offsets_c = np.array([*(one.calibration_offset_c for one in probe.stretches), 0.0])
    known_cm, of_stretch = np.unique(depths_cm, return_inverse=True)
    for number, depth_cm in enumerate(known_cm.tolist()):
        place = np.flatnonzero(of_stretch[stretch] == number)
        offset_c = offsets_c[stretch[place]]
        value_c = readings.soil_temp_c[place] + offset_c
        series = ProbeSeries(readings.observed_at[place], value_c, depth_cm, offset_c)
        yield _Piece(probe.id, place, series)


def _compare(
    readings: CheckedReadings,
    is_new: NDArray[np.bool_],
    code: NDArray[np.int32],
    overrules: Sequence[Overrule],
    targets: Sequence[Span],
) -> Flagged:
    flag = roll_up(code)
    for one in overrules:
        flag[one.holds_at(readings.observed_at)] = one.flag
    differs = (flag != readings.flag) | (code != readings.checks)
    differs &= ~is_new & find_within(readings.observed_at, targets)
    return Flagged(replace(readings, flag=flag, checks=code), is_new, differs)
