"""From the store to the days on which crews dig: windows that are open, or soon will be."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from sqlalchemy import Connection

from alerts.dig.crew_days import CrewDay, Crews, Job, plan_crew_days
from alerts.expectations import LIKELY
from alerts.outlook.dates import Chances, Outlook
from alerts.windows import Span
from service.dig.patches import find_block_patches
from service.evaluation import BlockEvaluation, evaluate_blocks
from service.outlooks import find_block_outlooks
from service.showing import day_text
from service.store.blocks import Block
from service.store.vigour import fetch_planting

UNKNOWN_CLOSE = timedelta(days=14)
"""How long an open window whose end nothing tells is taken to last. Ours, no source."""
_DAY = timedelta(days=1)


@dataclass(frozen=True)
class CrewPlan:
    """Crew days in the order of time.

    left : vines that find no place, by block
    why_not : of the blocks that have no window to plan for
    """

    as_of: date
    blocks: dict[str, Block]
    days: list[CrewDay]
    left: dict[str, int]
    why_not: dict[str, str]


def plan_digs(
    connection: Connection,
    blocks: Sequence[Block],
    as_of: Sequence[date],
    vines: Mapping[str, int],
    days: Sequence[date],
    crews: Crews,
    accuracy_c: float,
) -> CrewPlan:
    """Plan the digging of some vines in each block, within windows as they stand on its day."""
    evaluations = evaluate_blocks(connection, blocks, as_of, None, accuracy_c)
    outlooks = find_block_outlooks(connection, blocks, as_of, accuracy_c)
    jobs, why_not = [], {}
    for one, outlook in zip(evaluations, outlooks, strict=True):
        window = _find_window(one, outlook.outlook)
        if window is None:
            why_not[one.block.id] = outlook.why_not or f"as it is: {one.state}"
            continue
        if window[0] > days[-1]:
            why_not[one.block.id] = f"as it is expected from {day_text(window[0])} only"
            continue
        jobs.append(Job(one.block.id, vines[one.block.id], *window))
    planned, left = plan_crew_days(jobs, days, crews)
    return CrewPlan(max(as_of), {one.id: one for one in blocks}, planned, left, why_not)


def find_days(first: date, span: int, off: Collection[int]) -> list[date]:
    """Return the days of a span on which crews dig; `off`: weekdays without, Monday being 0."""
    days = (first + place * _DAY for place in range(span))
    return [day for day in days if day.weekday() not in off]


def count_vines(connection: Connection, block: Block, each: int) -> int:
    """Return how many vines are named at the patches of a block; `each`, where none are."""
    planting = fetch_planting(connection, block.id)
    found = planting and find_block_patches(connection, block.id, planting, each)
    return len(found.dig) if found and found.dig else each


def _find_window(one: BlockEvaluation, outlook: Outlook | None) -> tuple[date, date, bool] | None:
    """Return the first and last day of the window that is open or likely next, and whether not yet.

    Nine times in ten it has not closed before that last day, where an outlook says so.
    """
    spans = one.evaluation.spans
    if spans and spans[-1].closed_on is None:
        first = one.as_of + _DAY
        ends = [first + UNKNOWN_CLOSE]
        if outlook and outlook.opens is None and outlook.closes.p10:
            ends = [max(outlook.closes.p10, first + _DAY)]
        ends += _find_spent(spans, one.rule.spring_days)
        return (first, min(ends) - _DAY, False) if min(ends) > first else None
    if outlook is None or outlook.opens is None or outlook.opens.chance < LIKELY:
        return None
    return _find_expected(outlook.opens, outlook.closes, one.as_of + _DAY)


def _find_spent(spans: Sequence[Span], spring_days: int) -> list[date]:
    """Return the day on which an open spring is spent."""
    now = spans[-1]
    if now.kind != "spring":
        return []
    first = next(one for one in spans if (one.season, one.kind) == (now.season, now.kind))
    return [first.opened_on + timedelta(days=spring_days)]


def _find_expected(
    opens: Chances, closes: Chances, tomorrow: date
) -> tuple[date, date, bool] | None:
    """Return the likely days of a window that is not open: from its middle opening on."""
    if opens.p50 is None:
        return None
    first = max(opens.p50, tomorrow)
    later = [day for day in (closes.p10, closes.p50) if day and day > first]
    return (first, later[0] - _DAY, True) if later else None
