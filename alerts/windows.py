"""The window engine: when each series' scouting windows opened and closed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from alerts.rules import WindowRule

Kind = Literal["spring", "fall"]
Reason = Literal["spent", "turned", "cold", "hot", "season over"]


@dataclass(frozen=True)
class Span:
    """One stretch in which a window was open.

    season : its year; south of the equator the year in which the season began
    opened_on : the day on which the rule was first met
    not_before : the first day on which it may have opened unseen; opened_on where nothing is missing
    closed_on : the first day that is no longer open; None while it is open
    """

    season: int
    kind: Kind
    opened_on: date
    not_before: date
    closed_on: date | None
    reason: Reason | None


def find_spans(
    root_zone_c: NDArray[np.float64],
    days: NDArray[np.datetime64],
    south: NDArray[np.bool_],
    rule: WindowRule,
    as_of: date,
) -> list[list[Span]]:
    """Return, for each series, the spans in which its scouting window is open."""
    raise NotImplementedError
