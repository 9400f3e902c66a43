"""Which block a crew digs on which day, before its window closes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil

import numpy as np
from scipy.optimize import linear_sum_assignment

_OUTSIDE = 1e9
_LEFT_OVER = 1e6


@dataclass(frozen=True)
class Job:
    """What is to be dug in a block.

    first, last : the days between which its window is open, both among them
    expected : whether it is not open yet
    """

    block_id: str
    vines: int
    first: date
    last: date
    expected: bool


@dataclass(frozen=True)
class Crews:
    """What the crews can do, each in one block a day: nothing is carried on between two.

    vines_a_day : of one crew
    """

    count: int
    vines_a_day: int


@dataclass(frozen=True)
class CrewDay:
    """A crew in a block on a day; crews are numbered from 1."""

    day: date
    crew: int
    job: Job
    vines: int


def plan_crew_days(
    jobs: Sequence[Job], days: Sequence[date], crews: Crews
) -> tuple[list[CrewDay], dict[str, int]]:
    """Return the crew days in the order of time, and the vines of each block that find no place.

    A linear assignment: as many vines as can be within their windows, then as early as can be, so
    that days are left for rain, the block that closes first before the others.
    """
    pieces = [(job, vines) for job in jobs for vines in _split(job.vines, crews.vines_a_day)]
    slots = [(day, crew) for day in days for crew in range(crews.count)]
    if not pieces:
        return [], {}
    cost = np.full((len(pieces), len(slots) + len(pieces)), _LEFT_OVER)
    latest = max(job.last for job in jobs)
    for row, (job, vines) in enumerate(pieces):
        urgency = 1.0 + 1e-3 * (latest - job.last).days
        cost[row, len(slots) :] *= vines / crews.vines_a_day
        for column, (day, _) in enumerate(slots):
            is_open = job.first <= day <= job.last
            cost[row, column] = column * urgency if is_open else _OUTSIDE
    chosen = zip(*linear_sum_assignment(cost), strict=True)
    placed: dict[date, list[tuple[Job, int]]] = {}
    left: dict[str, int] = {}
    for row, column in chosen:
        job, vines = pieces[row]
        if column < len(slots):
            placed.setdefault(slots[column][0], []).append((job, vines))
        else:
            left[job.block_id] = left.get(job.block_id, 0) + vines
    return _number_crews(placed), left


def _split(vines: int, vines_a_day: int) -> list[int]:
    """Return the vines of each day, as even as can be."""
    days = ceil(vines / vines_a_day)
    return [vines // days + (place < vines % days) for place in range(days)]


def _number_crews(placed: dict[date, list[tuple[Job, int]]]) -> list[CrewDay]:
    """Return crew days; a crew stays in its block of the day before where it can."""
    planned: list[CrewDay] = []
    before: dict[str, int] = {}
    for day in sorted(placed):
        of_day = sorted(placed[day], key=lambda one: (one[0].last, one[0].block_id, -one[1]))
        stays: dict[int, int] = {}  # place among those of the day -> crew
        for place, (job, _) in enumerate(of_day):
            crew = before.get(job.block_id)
            if crew and crew not in stays.values():
                stays[place] = crew
        free = (crew for crew in range(1, len(of_day) + 1 + len(stays)))
        others = (crew for crew in free if crew not in stays.values())
        today = [
            CrewDay(day, stays.get(place) or next(others), job, vines)
            for place, (job, vines) in enumerate(of_day)
        ]
        before = {one.job.block_id: one.crew for one in today}
        planned += sorted(today, key=lambda one: one.crew)
    return planned
