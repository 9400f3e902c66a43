"""When an advisory is drafted, and from what."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy import Connection, Engine, select

from alerts.advisories.figures import Advisory, BlockFacts, find_advisory, is_due
from service.evaluation import BlockEvaluation, as_of_day, evaluate_blocks
from service.outlooks import find_block_outlooks, keep_outlooks
from service.settings import Settings
from service.store.advisories import Scope, add_draft, fetch_advisories, has_coordinators
from service.store.blocks import Block, fetch_told_blocks
from service.store.engine import reading, writing
from service.store.tables import district


def draft_if_due(
    connection: Connection, evaluations: Sequence[BlockEvaluation], now: datetime, every_days: int
) -> int | None:
    """Draft an advisory of what a round has found, where one is due; return its number.

    The caller holds the transaction of the round. `every_days`: 0 for never.
    """
    if not evaluations or not every_days or not has_coordinators(connection):
        return None
    figures = find_figures(connection, evaluations)
    of_region = (one for one in fetch_advisories(connection) if one.district_ids is None)
    last = next(of_region, None)
    if not is_due(last and last.figures, figures, every_days):
        return None
    return add_draft(connection, figures, now)


def draft_by_hand(
    engine: Engine,
    settings: Settings,
    now: datetime,
    person: str,
    as_of: date | None,
    district_ids: Scope = None,
) -> int:
    """Draft an advisory now, for a person, with an outlook of its own; return its number.

    There is a block of the districts.
    """
    with reading(engine) as connection:
        blocks = find_blocks(connection, district_ids)
        days = [as_of or as_of_day(block, now) for block in blocks]
        outlooks = find_block_outlooks(connection, blocks, days, settings.sensor_accuracy_c)
    with writing(engine) as connection:
        keep_outlooks(connection, outlooks)
        figures = find_figures_now(connection, settings, now, as_of, district_ids)
        return add_draft(connection, figures, now, person, district_ids)


def find_blocks(connection: Connection, district_ids: Scope) -> list[Block]:
    """Return the blocks that an advisory of some districts, or of the region, speaks of."""
    every = fetch_told_blocks(connection)
    return [one for one in every if district_ids is None or one.district_id in district_ids]


def find_figures_now(
    connection: Connection,
    settings: Settings,
    now: datetime,
    as_of: date | None,
    district_ids: Scope = None,
) -> Advisory:
    """Return what an advisory would say now; of what is to come as far as a round has kept it."""
    blocks = find_blocks(connection, district_ids)
    days = [as_of or as_of_day(block, now) for block in blocks]
    evaluations = evaluate_blocks(connection, blocks, days, 1, settings.sensor_accuracy_c)
    return find_figures(connection, evaluations)


def find_figures(connection: Connection, evaluations: Sequence[BlockEvaluation]) -> Advisory:
    """Return the figures of an advisory by what was found of each block, which may be none."""
    names = {row.id: row.name for row in connection.execute(select(district.c.id, district.c.name))}
    as_of = max((one.as_of for one in evaluations), default=date.min)
    return find_advisory([_facts(one) for one in evaluations], names, as_of)


def _facts(one: BlockEvaluation) -> BlockFacts:
    standing = one.evaluation.standing
    return BlockFacts(
        district_id=one.block.district_id,
        elevation_m=one.block.elevation_m,
        state=one.state,
        spans=tuple(span for span in one.evaluation.spans if span.season == standing.season),
        outlook=one.outlook,
        mean_c=standing.mean_c,
        limit_c=one.rule.spring_opens_c,
    )
