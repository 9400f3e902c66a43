"""Clocks that lost their power and began anew, at the start of 1970, 1980 or 2000 or another."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from probes.frames import LoggerFile
from probes.future_stamps import reject_rows

LONGEST_WAIT = timedelta(days=3653)
"""How long what is pushed may have waited; ours. A reset lies decades back, and no device keeps its
readings for ten years."""

OF_RESET = "lies more than ten years before it was pushed"

BEGINNINGS = np.array(["1970-01-01", "1980-01-01", "1980-01-06", "2000-01-01"], "datetime64[D]")
"""Where clocks begin: Unix, the first personal computers, GPS, most battery-backed chips."""

AT_MOST = np.timedelta64(2, "D")
"""How far from a beginning, offsets and the first interval included, the first stamp lies."""


def reject_reset(file: LoggerFile, arrived_at: datetime) -> LoggerFile:
    """Reject the rows of a push that were stamped more than ten years before it arrived.

    Parameters
    ----------
    file : LoggerFile
    arrived_at : datetime

    Who pushes does so soon after it measured; a history comes in files.
    """
    earliest = np.datetime64((arrived_at - LONGEST_WAIT).astimezone(UTC).replace(tzinfo=None), "us")
    why = f"{OF_RESET}: set the logger's clock; where the time is right, import it as a file"
    return reject_rows(file, file.observed_at < earliest, why)


def find_reset(file: LoggerFile) -> list[str]:
    """Return whether a delivery begins where a clock does that has lost its power."""
    if not file.observed_at.size:
        return []
    first = file.observed_at.min()
    if (np.abs(first - BEGINNINGS) > AT_MOST).all():
        return []
    return [
        f"the first stamp, {first.item():%Y-%m-%d %H:%M} UTC, lies where a clock begins that has "
        "lost its power: look whether these readings are of then; if not, withdraw them, or "
        "declare clock_corrections and read them again"
    ]
