"""What a delivery brought into the store, and what follows from it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from probes.checks import pack_provider
from probes.frames import Readings
from service.daily_means import find_days
from service.flags import flag_new, keep_flags
from service.intake.merging import Findings
from service.store.loggers import Logger, Probe
from service.store.readings import (
    CheckedReadings,
    fetch_readings,
    insert_readings,
    insert_shifted_stamps,
    list_conflicts,
)


@dataclass(frozen=True)
class Found:
    """What a delivery brought of one probe; the last two as in probes.frames.LoggerFile."""

    probe: Probe
    findings: Findings
    shift: NDArray[np.timedelta64] | None
    suspect: NDArray[np.bool_] | None

    @property
    def new(self) -> CheckedReadings:
        """What is new, with what its provider says of it."""
        new, suspect = self.findings.new, np.zeros(self.findings.new.flag.size, np.bool_)
        if self.suspect is not None:
            suspect = self.suspect[self.findings.new_place]
        checks = pack_provider(suspect)
        return CheckedReadings(new.observed_at, new.soil_temp_c, new.flag, checks)


def fetch_days(
    connection: Connection, logger: Logger, probe: Probe, observed_at: NDArray[np.datetime64]
) -> Readings:
    """Return what the store holds of a probe over the days of a delivery, those days whole."""
    if not observed_at.size:
        return Readings(observed_at, np.empty(0), np.empty(0, np.int8))
    days = find_days(np.array([observed_at.min(), observed_at.max()]), logger.utc_offset_min)
    return fetch_readings(connection, probe.id, *span_of_days(logger, *days.tolist()))


def span_of_days(logger: Logger, first: date, last: date) -> tuple[datetime, datetime]:
    """Return after and until which instants the readings of some days of a site lie."""
    return logger.begin_of(first), logger.begin_of(last) + timedelta(days=1)


def keep_findings(
    connection: Connection,
    logger: Logger,
    batch_id: int,
    found: Sequence[Found],
    progress: Callable[[float], None],
) -> None:
    """Put what is new into the store with its flags; see to the flags and days that it touches."""
    flagged = flag_new(connection, logger, {one.probe.id: one.new for one in found})
    for one in found:
        probe_id, findings = one.probe.id, one.findings
        list_conflicts(connection, probe_id, batch_id, findings.other_at, findings.other_c)
        if one.shift is not None:
            new_shift = one.shift[findings.new_place]
            insert_shifted_stamps(connection, probe_id, findings.new.observed_at, new_shift)
    touched = [probe for probe in logger.probes if probe.id in flagged]
    for number, probe in enumerate(touched):
        progress((1 + number) / (1 + len(touched)))
        of_probe = flagged[probe.id]
        insert_readings(connection, probe.id, batch_id, of_probe.readings.where(of_probe.is_new))
        keep_flags(connection, logger, probe, of_probe)
