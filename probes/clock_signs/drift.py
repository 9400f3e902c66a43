"""Whether a clock runs away from the time at which its deliveries arrive."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np

FEWEST_DELIVERIES = 9
FEWEST_DAYS = 14
LEAST_DRIFT_MIN = 10.0
MOST_DRIFT_MIN_PER_DAY = 10.0
"""Beyond it no clock drifts: it was set, or files lie longer before someone imports them."""


def find_drift(arrivals: Sequence[tuple[datetime, datetime]]) -> list[str]:
    """Return what arrivals say of a clock that runs fast or slow.

    Parameters
    ----------
    arrivals : sequence of (datetime, datetime)
        When each delivery arrived and its newest stamp, in order of arrival.

    The distance between the two has a scatter of its own, by how deliveries come. A drift is seen
    where the last third of them lies beyond all of the first.
    """
    if len(arrivals) < FEWEST_DELIVERIES:
        return []
    days = (arrivals[-1][0] - arrivals[0][0]).total_seconds() / 86_400
    if days < FEWEST_DAYS:
        return []
    lag_min = np.array([(at - stamp).total_seconds() / 60 for at, stamp in arrivals])
    third = len(arrivals) // 3
    early, late = lag_min[:third], lag_min[-third:]
    grown_min = float(np.median(late) - np.median(early))
    apart = late.min() > early.max() if grown_min > 0 else late.max() < early.min()
    if not apart or abs(grown_min) < LEAST_DRIFT_MIN:
        return []
    if abs(grown_min) > MOST_DRIFT_MIN_PER_DAY * days:
        return []
    return [
        f"over {days:.0f} days the newest stamp went from {np.median(early):.0f} to "
        f"{np.median(late):.0f} min behind its arrival: the clock runs "
        f"{'slow' if grown_min > 0 else 'fast'}; set it, and declare clock_corrections"
    ]
