"""Charts of blocks as pages show them: drawn ahead by the jobs, or when one is asked for."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from threading import Event
from time import monotonic

from sqlalchemy import Connection, Engine

from alerts.chart import BlockChart, describe_chart, word_chart
from alerts.rules import WindowRule
from service.charts.blocks import SEASONS, make_charts, make_season_chart
from service.charts.drawn import draw_svg
from service.evaluation import as_of_day, evaluate_blocks
from service.rule_sets import fetch_rules
from service.settings import Settings
from service.store.block_pictures import (
    LAST_MONTHS,
    KeptPicture,
    PictureForm,
    fetch_bases,
    fetch_probe_changes,
    fetch_reading_forms,
    find_picture,
    keep_picture,
)
from service.store.blocks import Block, fetch_blocks
from service.store.busy import StoreBusyError
from service.store.engine import reading, with_scant_patience, writing

DRAWING_S = 20
"""How long the jobs draw at a time: what is left is drawn at the next."""

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Grounds:
    """What charts are drawn from, as far as it tells whether they have to be drawn anew.

    changes : by probe, how often its logger's readings have changed
    """

    rules: Mapping[str, WindowRule]
    changes: Mapping[int, int]

    def find_basis(self, block: Block, now: datetime) -> str:
        """Return what the chart of a block is drawn from, hashed."""
        own = {stretch.probe_id for stretch in block.stretches}
        is_lent = block.borrows and not block.is_probed
        changes = sum(n for one, n in self.changes.items() if is_lent or one in own)
        said = f"{block} {as_of_day(block, now)} {changes} {self.rules[block.rule]}"
        return hashlib.sha256(said.encode()).hexdigest()[:24]


def fetch_grounds(connection: Connection) -> Grounds:
    """Return what charts are drawn from now."""
    return Grounds(fetch_rules(connection), fetch_probe_changes(connection))


def find_kept(connection: Connection, form: PictureForm, now: datetime) -> KeptPicture | None:
    """Return a chart as it is kept, if it is drawn from what there is now."""
    (block,) = fetch_blocks(connection, [form.block_id])
    kept = find_picture(connection, form)
    basis = fetch_grounds(connection).find_basis(block, now)
    return kept if kept and kept.basis == basis else None


def find_or_draw(
    engine: Engine, settings: Settings, form: PictureForm, now: datetime
) -> KeptPicture:
    """Return a chart as it is kept, or drawn now where none is kept of what there is; that is
    kept if no one else writes.
    """
    with reading(engine) as connection:
        kept = find_kept(connection, form, now)
        if kept:
            return kept
        (block,) = fetch_blocks(connection, [form.block_id])
        basis = fetch_grounds(connection).find_basis(block, now)
        chart = make_chart(connection, settings, block, form.season, now)
    drawn = _draw(chart, form, basis)
    try:
        with writing(with_scant_patience(engine)) as connection:
            keep_picture(connection, form, drawn)
    except StoreBusyError:  # it is drawn once more when it is asked for again
        log.info("the chart of %s is not kept: the store is busy", form.block_id)
    return drawn


class Drawer:
    """Draws ahead, again and again."""

    def __init__(self) -> None:
        self._done: tuple[object, ...] | None = None

    def draw(self, engine: Engine, settings: Settings, now: datetime, stop: Event) -> int:
        """Draw the charts of the last months that accounts may ask for, for a while; return how
        many. Of a chart that fails the log says why, and the others are drawn.
        """
        until = monotonic() + DRAWING_S
        with reading(engine) as connection:
            forms = fetch_reading_forms(connection)
            grounds = fetch_grounds(connection)
            state = sum(grounds.changes.values()), now.date(), now.hour, *forms
            if not forms or state == self._done:
                return 0
            blocks, known = fetch_blocks(connection), fetch_bases(connection)
        count = 0
        for block in blocks:
            basis = grounds.find_basis(block, now)
            wanted = [PictureForm(block.id, LAST_MONTHS, *form) for form in forms]
            stale = [form for form in wanted if known.get(form) != basis]
            if stale and (stop.is_set() or monotonic() > until):
                return count
            count += _draw_all(engine, settings, block, stale, basis, now) if stale else 0
        self._done = state
        return count


def _draw_all(
    engine: Engine,
    settings: Settings,
    block: Block,
    forms: Collection[PictureForm],
    basis: str,
    now: datetime,
) -> int:
    try:
        with reading(engine) as connection:
            chart = make_chart(connection, settings, block, LAST_MONTHS, now)
        drawn = {form: _draw(chart, form, basis) for form in forms}
    except Exception:  # nothing about a picture holds back the others
        log.exception("the chart of %s is not drawn", block.id)
        return 0
    with writing(engine) as connection:
        for form, picture in drawn.items():
            keep_picture(connection, form, picture)
    return len(drawn)


def make_chart(
    connection: Connection, settings: Settings, block: Block, season: int, now: datetime
) -> BlockChart:
    """Return the chart of a block, of its last months or of one season."""
    day, accuracy_c = as_of_day(block, now), settings.sensor_accuracy_c
    back = SEASONS if season == LAST_MONTHS else max(day.year + 1 - season, 1)
    (one,) = evaluate_blocks(connection, [block], [day], back, accuracy_c)
    if season == LAST_MONTHS:
        return make_charts(connection, [one], day, accuracy_c)[block.id]
    return make_season_chart(connection, one, season, accuracy_c)


def _draw(chart: BlockChart, form: PictureForm, basis: str) -> KeptPicture:
    svg = draw_svg(chart, word_chart(chart, form.language, form.unit), form.unit)
    return KeptPicture(basis, svg.encode(), describe_chart(chart, form.language, form.unit))
