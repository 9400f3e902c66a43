"""Ranges of time in what is asked for, and how much of a series makes a part."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from http import HTTPStatus
from typing import Annotated, Any

import numpy as np
from fastapi import Query
from numpy.typing import NDArray
from pydantic import AfterValidator, AwareDatetime

from service.web.problems import Problem

EARLIEST, LATEST = date(1900, 1, 1), date(2200, 1, 1)


def _check_day(day: date) -> date:
    if not EARLIEST <= day <= LATEST:
        raise ValueError(f"name a day from {EARLIEST} to {LATEST}")
    return day


def _check_instant(instant: datetime) -> datetime:
    _check_day(instant.date())
    return instant.astimezone(UTC)


_Instant = Annotated[AwareDatetime, AfterValidator(_check_instant)]
Day = Annotated[date, AfterValidator(_check_day)]
After = Annotated[
    _Instant | None, Query(description="only what is later; write + of an offset as %2B")
]
Until = Annotated[_Instant | None, Query(description="only up to this instant, itself too")]
FirstDay = Annotated[Day | None, Query(alias="from", description="the first day")]
LastDay = Annotated[Day | None, Query(alias="until", description="the last day, itself too")]


def find_begin(
    after: datetime | None, until: datetime | None, start: datetime | None
) -> datetime | None:
    """Return the instant behind which a part of a range begins; `start` is of its cursor."""
    if after and until and after >= until:
        said = f"until: {until:%Y-%m-%dT%H:%MZ} is not later than after; name a later one"
        raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, said)
    return max(filter(None, (after, start)), default=None)


def find_days(first: date | None, last: date | None, start: date | None) -> tuple[date, date]:
    """Return the first and last day of what is left of a range; `start` is of its cursor."""
    if first and last and first > last:
        said = f"until: {last} is before from; name a later day"
        raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, said)
    begin = max(filter(None, (first, start and start + timedelta(days=1))), default=EARLIEST)
    return begin, last or LATEST


def count_whole(at: NDArray[Any], limit: int) -> int:
    """Return how many of these, in order, make a part: so many at most, but all of one instant."""
    if at.size <= limit:
        return at.size
    before = int(np.searchsorted(at, at[limit]))
    return before or int(np.searchsorted(at, at[0], side="right"))
