"""From the store to a calendar of the windows of some blocks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, time, timedelta

from sqlalchemy import Connection, select

from alerts.calendar import write_feed
from alerts.calendar_feed import BlockWindows, find_feed_events
from alerts.expectations import Expectation
from probes.units import Unit
from service.evaluation import BlockEvaluation
from service.outlooks import fetch_expected_by_day
from service.store.tables import organisation

Adapt = Callable[[Expectation | None], Expectation | None]
"""What of other growers stands in what is to come is left out by it."""

SEASONS = 2
"""The season of the day, and the one before."""


def write_blocks(
    connection: Connection,
    evaluations: Sequence[BlockEvaluation],
    name: str,
    language: str,
    unit: Unit,
    adapt: Adapt = lambda expected: expected,
) -> str:
    """Return the windows of blocks as one iCalendar object, the same for the same days.

    `evaluations` are over SEASONS at least, of one block at least; without a name the calendar has
    that of the organisation. `adapt` makes what is to come fit for its readers.
    """
    of = connection.scalar(select(organisation.c.name)) or ""
    days = {one.block.id: one.as_of for one in evaluations}
    expected = fetch_expected_by_day(connection, days)
    blocks = [_show(one, adapt(expected.get(one.block.id))) for one in evaluations]
    events = [*find_feed_events(blocks, of, language, unit)]
    changed = datetime.combine(max(days.values()) + timedelta(days=1), time.min, UTC)
    return write_feed(events, name or of, changed)


def _show(one: BlockEvaluation, expected: Expectation | None) -> BlockWindows:
    season = one.evaluation.standing.season
    return BlockWindows(
        block_id=one.block.id,
        block_name=one.block.name,
        site_name=one.block.site_name,
        as_of=one.as_of,
        south=one.block.south,
        spring_days=one.rule.spring_days,
        spans=[span for span in one.evaluation.spans if span.season > season - SEASONS],
        expected=expected,
    )
