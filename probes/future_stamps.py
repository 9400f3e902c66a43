"""Stamps of the future: nothing is observed before it happens, so their time cannot be trusted."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from probes.frames import LoggerFile, Reject
from probes.rejects import Rejects

TOLERANCE = timedelta(minutes=15)
"""How far a clock may be ahead; ours: cheap clocks gain a few minutes between two visits."""

OF_FUTURE = "lies in the future"


def reject_future(file: LoggerFile, now: datetime) -> LoggerFile:
    """Reject the rows of a delivery that were stamped later than it arrived.

    Parameters
    ----------
    file : LoggerFile
    now : datetime
        When it arrived.

    Missing cells of such rows stay counted as missing.
    """
    latest = np.datetime64((now + TOLERANCE).astimezone(UTC).replace(tzinfo=None), "us")
    why = f"{OF_FUTURE}: set the logger's clock, or correct what the layout says of it"
    return reject_rows(file, file.observed_at > latest, why)


def has_come(reason: str, now: datetime) -> bool:
    """Return whether a row was rejected by `reject_future` for a time that has come by now.

    Then the clock of who took it in was behind, or the same content is as good as a new one.
    """
    stamp, _, why = reason.partition(" UTC ")
    if not why.startswith(OF_FUTURE):
        return False
    return datetime.fromisoformat(f"{stamp}+00:00") <= now + TOLERANCE


def reject_rows(file: LoggerFile, which: NDArray[np.bool_], why: str) -> LoggerFile:
    """Reject rows for their time; `why` follows that time in the reason."""
    if not which.any():
        return file
    readings = (~np.isnan(file.soil_temp_c)).sum(axis=1)
    rejects = Rejects()
    rejects.add(
        Reject(
            int(file.line[row]),
            f"{file.observed_at[row].item():%Y-%m-%d %H:%M} UTC {why}",
            "",
            int(readings[row]),
        )
        for row in np.flatnonzero(which & (readings > 0))
    )
    return replace(
        file,
        line=file.line[~which],
        observed_at=file.observed_at[~which],
        soil_temp_c=file.soil_temp_c[~which],
        rejects=tuple(sorted([*file.rejects, *rejects.tell()], key=lambda reject: reject.line)),
        shift=None if file.shift is None else file.shift[~which],
        suspect=None if file.suspect is None else file.suspect[~which],
    )
