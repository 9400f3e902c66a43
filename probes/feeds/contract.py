"""What the reader of a feed gives, whatever the feed.

A reader is a pure function of the answer's text or JSON. A row or value that cannot be read is a
reject; an answer that cannot be read as a whole is a FeedAnswerError.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probes.frames import LoggerFile, Reject


class FeedAnswerError(Exception):
    """An answer that is not what the feed promises; it says what to do."""


class NothingThereError(FeedAnswerError):
    """A network has nothing of a station in the years that were asked for."""


@dataclass(frozen=True)
class FeedReadings:
    """Readings of one station.

    depth_cm : the depth of each channel of `file`; a channel names a probe for good
    file : as of a logger's file; where an answer has no lines, its records are counted from 1
    """

    depth_cm: Mapping[str, float]
    file: LoggerFile


@dataclass(frozen=True)
class DepthSeries:
    """One sensor's readings, in any order.

    channel : names the probe for good, also among others at its depth
    record : (n,) int64, where in the answer each stands, from 1
    observed_at : (n,) datetime64[us], UTC, the instant or the END of the averaging interval
    soil_temp_c : (n,) float64, NaN where the feed says that there is none
    suspect : (n,) bool, which of them the network itself flags suspect
    """

    channel: str
    depth_cm: float
    record: NDArray[np.int64]
    observed_at: NDArray[np.datetime64]
    soil_temp_c: NDArray[np.float64]
    suspect: NDArray[np.bool_]


def join_series(series: Sequence[DepthSeries], rejects: Iterable[Reject] = ()) -> FeedReadings:
    """Return series that have times of their own as one, a row for each reading."""
    sizes = [one.observed_at.size for one in series]
    ends = np.cumsum([0, *sizes])
    soil_temp_c = np.full((ends[-1], len(series)), np.nan)
    suspect = np.zeros(soil_temp_c.shape, np.bool_)
    for number, one in enumerate(series):
        rows = slice(ends[number], ends[number + 1])
        soil_temp_c[rows, number], suspect[rows, number] = one.soil_temp_c, one.suspect
    file = LoggerFile(
        channels=tuple(one.channel for one in series),
        line=np.concatenate([np.empty(0, np.int64), *(one.record for one in series)]),
        observed_at=np.concatenate(
            [np.empty(0, "datetime64[us]"), *(one.observed_at for one in series)]
        ),
        soil_temp_c=soil_temp_c,
        missing=sum(int(np.isnan(one.soil_temp_c).sum()) for one in series),
        rejects=tuple(rejects),
        suspect=suspect,
    )
    return FeedReadings({one.channel: one.depth_cm for one in series}, file)
