"""Readings of a delivery from before the day up to which all is kept as it is: rejected."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from probes.frames import LoggerFile, Reject
from probes.future_stamps import reject_rows
from service.store.frozen import describe_frozen
from service.store.loggers import Logger

ONE_BY_ONE = ("push", "hand")
"""Kinds of deliveries that answer for each reading."""


def reject_frozen(file: LoggerFile, logger: Logger, source: str) -> LoggerFile:
    """Reject the rows that come too late; those of a file or a feed for one reason together."""
    if logger.frozen_before is None or logger.frozen_until is None:
        return file
    latest = np.datetime64(logger.frozen_until.replace(tzinfo=None), "us")
    kept = describe_frozen(logger.frozen_before)
    is_frozen = file.observed_at <= latest
    left = reject_rows(file, is_frozen, f"comes too late: {kept}")
    if source in ONE_BY_ONE or not is_frozen.any():
        return left
    readings = (~np.isnan(file.soil_temp_c[is_frozen])).sum()
    last = file.observed_at[is_frozen].max().item()
    why = f"this row and others up to {last:%Y-%m-%d %H:%M} UTC: {kept}"
    together = Reject(int(file.line[is_frozen].min()), why, "", int(readings))
    rejects = [*file.rejects, *([together] if readings else [])]
    return replace(left, rejects=tuple(sorted(rejects, key=lambda reject: reject.line)))
