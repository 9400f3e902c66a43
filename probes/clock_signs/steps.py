"""Steps between stamps that no running clock makes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probes.frames import LoggerFile
from probes.logger_files import OUT_OF_ORDER

TOLERANCE_S = 60.0
"""Loggers stamp a few seconds late; a quarter of the interval where that is less."""

MOST_JUMPS = 0.02
"""Of all steps: with more it is the interval that is declared wrongly."""

TOLD = 3
MINUTE_US = 60_000_000


def find_jumps(observed_at: NDArray[np.datetime64], interval_min: float) -> list[str]:
    """Return what the steps between readings say of a clock that was set.

    Parameters
    ----------
    observed_at : array of datetime64[us], shape (n,)
        In any order.
    interval_min : float
        As the layout declares it.
    """
    times_us = np.sort(observed_at.astype(np.int64))  # several times quicker than np.unique
    steps_us = np.diff(times_us)
    moves = steps_us > 0
    times_us, steps_us = times_us[1:][moves], steps_us[moves]
    if not steps_us.size:
        return []
    interval_us = interval_min * MINUTE_US
    off_us = steps_us - np.rint(steps_us / interval_us) * interval_us
    (jumps,) = np.nonzero(np.abs(off_us) > min(TOLERANCE_S * 1e6, interval_us / 4))
    if not jumps.size:
        return []
    typical_min = float(np.median(steps_us)) / MINUTE_US
    if jumps.size > max(TOLD, MOST_JUMPS * steps_us.size):
        return [
            f"{jumps.size:,} of {steps_us.size:,} steps are no multiple of {interval_min:g} min, "
            f"most are {typical_min:g} min: set interval_min to what the logger keeps"
        ]
    return [
        f"the stamps jump by {off_us[jump] / MINUTE_US:+.0f} min beyond the interval at "
        f"{_text(times_us.item(jump))} UTC ({jumps.size} such in all): someone set the clock; "
        "if it was wrong before, declare clock_corrections for the stamps up to there"
        for jump in jumps[:TOLD].tolist()
    ]


def find_steps_back(file: LoggerFile) -> list[str]:
    """Return what rows that stand out of order say of a clock that was set back."""
    back = [reject for reject in file.rejects if OUT_OF_ORDER in reject.reason]
    if not back:
        return []
    return [
        f"time steps back and {len(back):,} rows are out of order, the first in line "
        f"{back[0].line}: someone set the clock; give what stands before and after it files of "
        "their own, and declare clock_corrections for the wrong ones"
    ]


def _text(at_us: int) -> str:
    return f"{np.datetime64(at_us, 'us').item():%Y-%m-%d %H:%M}"
