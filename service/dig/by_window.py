"""From the store to where each dig lay to the windows of its block."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta

import numpy as np
from sqlalchemy import Connection

from alerts.dig.by_window import PlacedDig, Side
from alerts.dig.records import DigRecord
from alerts.windows import Span, trailing_mean
from service.dig.status import group_records
from service.evaluation import BlockEvaluation, evaluate_blocks
from service.store.blocks import Block


def place_digs(
    connection: Connection,
    blocks: Sequence[Block],
    as_of: Mapping[str, date],
    sensor_accuracy_c: float,
) -> list[PlacedDig]:
    """Return the digs of blocks with what the soil was like, by block and day.

    `as_of` is the last day that has ended at each block; what was dug the day after counts too.
    """
    records = group_records(connection, [one.id for one in blocks])
    dug = [one for one in blocks if one.id in records]
    days = [as_of[one.id] for one in dug]
    evaluations = evaluate_blocks(connection, dug, days, None, sensor_accuracy_c)
    return [placed for one in evaluations for placed in _place_block(one, records[one.block.id])]


def _place_block(one: BlockEvaluation, records: Sequence[DigRecord]) -> Iterator[PlacedDig]:
    zone = one.root_zone
    mean_c = trailing_mean(zone.root_zone_c, one.rule)
    known = {
        day: float(value)
        for day, value in zip(zone.day.tolist(), mean_c, strict=True)
        if np.isfinite(value)
    }
    for record in records:
        if record.dug_on > one.as_of + timedelta(days=1):
            continue
        root_zone_c = known.get(record.dug_on, known.get(record.dug_on - timedelta(days=1)))
        side, days_open = find_side(record.dug_on, one.evaluation.spans, root_zone_c is not None)
        yield PlacedDig(record, side, root_zone_c, days_open)


def find_side(day: date, spans: Sequence[Span], has_mean: bool) -> tuple[Side, int | None]:
    """Return where a day lies to windows, and how many days after an opening where it is inside."""
    for span in spans:
        last_sure = span.closed_not_before or span.closed_on
        if span.opened_on <= day and (last_sure is None or day < last_sure):
            return Side.INSIDE, (day - span.opened_on).days
        if span.not_before <= day and (span.closed_on is None or day < span.closed_on):
            return Side.NOT_KNOWN, None
    return (Side.OUTSIDE if has_mean else Side.NOT_KNOWN), None
