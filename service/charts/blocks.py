"""From the store to what is to be seen of blocks: their ribbons, their charts, drawn for mails."""

from __future__ import annotations

import logging
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np
from sqlalchemy import Connection, Engine

from alerts.bounds import Bounds
from alerts.chart import BlockChart, Limit, describe_chart, word_chart
from alerts.letter import Picture
from alerts.outlook.dates import Outlook
from alerts.outlook.fan import Fan
from alerts.ribbon import Ribbon, draw_ribbon
from alerts.season import season_start
from alerts.windows import trailing_mean
from probes.units import Unit
from service.charts.drawn import draw_png
from service.evaluation import BlockEvaluation, evaluate_blocks
from service.outlooks import find_block_fans
from service.root_zones import fetch_depths
from service.showing import find_season
from service.store.blocks import fetch_blocks
from service.store.engine import reading

BACK_DAYS, AHEAD_DAYS = 90, 45
SEASONS = 2  # three months back may lie in the season before

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Form:
    """How some readers see a block: as of a day, in one language and unit."""

    block_id: str
    day: date
    language: str
    unit: Unit


@dataclass(frozen=True)
class Seen:
    """What digests show of blocks besides words: ribbons by block and day, and pictures."""

    ribbons: Mapping[tuple[str, date], Ribbon] = field(default_factory=dict)
    pictures: Mapping[Form, Picture] = field(default_factory=dict)

    def of_blocks(
        self, forms: Iterable[Form], pictured: Collection[str]
    ) -> tuple[dict[str, Ribbon], dict[str, Picture]]:
        """Return the ribbons and, of blocks that are pictured, the pictures, by the block's id.

        Other readers may have a picture of a block in the same form that is not one of these.
        """
        ribbons: dict[str, Ribbon] = {}
        pictures: dict[str, Picture] = {}
        for form in forms:
            if ribbon := self.ribbons.get((form.block_id, form.day)):
                ribbons[form.block_id] = ribbon
            if form.block_id in pictured and (picture := self.pictures.get(form)):
                pictures[form.block_id] = picture
        return ribbons, pictures


def see_blocks(
    engine: Engine, shown: Collection[Form], pictured: Collection[Form], sensor_accuracy_c: float
) -> Seen:
    """Return ribbons of the blocks that are shown and pictures of those that are to have one.

    They are drawn while nothing is read or written. Of a picture that fails the log says why.
    """
    ribbons: dict[tuple[str, date], Ribbon] = {}
    charts: dict[tuple[str, date], BlockChart] = {}
    with reading(engine) as connection:
        for day in {form.day for form in shown}:
            block_ids = {form.block_id for form in shown if form.day == day}
            blocks = fetch_blocks(connection, block_ids)
            days = [day] * len(blocks)
            found = evaluate_blocks(connection, blocks, days, SEASONS, sensor_accuracy_c)
            ribbons |= {(one.block.id, day): draw_ribbon(find_season(one)) for one in found}
            with_chart = {form.block_id for form in pictured if form.day == day}
            chosen = [one for one in found if one.block.id in with_chart]
            of_day = make_charts(connection, chosen, day, sensor_accuracy_c)
            charts |= {(block_id, day): chart for block_id, chart in of_day.items()}
    pictures = {
        form: picture
        for form in pictured
        if (chart := charts.get((form.block_id, form.day))) and (picture := _draw(chart, form))
    }
    return Seen(ribbons, pictures)


def _draw(chart: BlockChart, form: Form) -> Picture | None:
    try:
        png = draw_png(chart, word_chart(chart, form.language, form.unit), form.unit)
    except Exception:  # nothing about a picture holds back a mail
        log.exception("the chart of %s for %s is left out", form.block_id, form.day)
        return None
    return Picture(png, describe_chart(chart, form.language, form.unit), f"{form.block_id}.png")


def make_charts(
    connection: Connection,
    evaluations: Sequence[BlockEvaluation],
    day: date,
    sensor_accuracy_c: float,
) -> dict[str, BlockChart]:
    """Return the charts of blocks as they are on the evening of a day, with their outlook."""
    blocks = [one.block for one in evaluations]
    until = day + timedelta(days=AHEAD_DAYS)
    fans = find_block_fans(connection, blocks, day, until, sensor_accuracy_c)
    first = day - timedelta(days=BACK_DAYS)
    return {
        one.block.id: _make_chart(connection, one, fans.get(one.block.id), first, one.as_of, until)
        for one in evaluations
    }


def make_season_chart(
    connection: Connection, one: BlockEvaluation, season: int, sensor_accuracy_c: float
) -> BlockChart:
    """Return the chart of a season of a block; the one of its day goes on with its outlook."""
    first, end = (season_start(year, one.block.south) for year in (season, season + 1))
    last = end - timedelta(days=1)
    if one.as_of > last:
        return _make_chart(connection, one, None, first, last, last)
    until = one.as_of + timedelta(days=AHEAD_DAYS)
    fans = find_block_fans(connection, [one.block], one.as_of, until, sensor_accuracy_c)
    return _make_chart(connection, one, fans.get(one.block.id), first, one.as_of, until)


def _make_chart(
    connection: Connection,
    one: BlockEvaluation,
    fan: Fan | None,
    first: date,
    last: date,
    until: date,
) -> BlockChart:
    days = np.arange(np.datetime64(first, "D"), np.datetime64(last, "D") + 1)
    zone, rule, is_past = one.root_zone, one.rule, last < one.as_of
    within, shown = np.isin(zone.day, days), np.isin(days, zone.day)
    mean_c, estimated = np.full(days.size, np.nan), np.zeros(days.size, bool)
    mean_c[shown] = trailing_mean(zone.root_zone_c, rule)[within]
    of_mean = np.convolve(zone.estimated, np.ones(rule.mean_days))[: zone.day.size] > 0
    estimated[shown] = of_mean[within]
    limits_c: dict[Limit, float] = {"cold": rule.cold_below_c, "hot": rule.hot_above_c}
    if "spring" in rule.windows and (is_past or one.evaluation.standing.turned_on is None):
        limits_c["opens"] = rule.spring_opens_c
    return BlockChart(
        root_zone_cm=one.block.root_zone_cm,
        mean_days=rule.mean_days,
        days=days,
        mean_c=mean_c,
        estimated=estimated & ~np.isnan(mean_c),
        depths_c=fetch_depths(connection, one.block, first, last),
        spans=[span for span in one.evaluation.spans if span.opened_on <= last],
        bounds=[
            _end_with_season(bounds, season_start(span.season + 1, one.block.south), last)
            for span, bounds in zip(one.evaluation.spans, one.bounds, strict=True)
            if span.opened_on <= last
        ],
        limits_c=limits_c,
        until=until,
        fan=fan,
        expected=None if is_past else _find_expected(one.outlook, one.as_of, until),
    )


def _end_with_season(bounds: Bounds, end: date, last: date) -> Bounds:
    """Return bounds that leave no window open beyond its season, where that has ended."""
    closed = bounds.closed
    if closed is None or closed.latest is not None or end > last:
        return bounds
    return replace(bounds, closed=replace(closed, latest=end))


def _find_expected(outlook: Outlook | None, as_of: date, until: date) -> tuple[date, date] | None:
    """Return from when to when the window is likely open, as far as the chart goes."""
    if outlook is None:
        return None
    begin = outlook.opens.p50 if outlook.opens else as_of
    end = min(outlook.closes.p50 or until, until)
    return (max(begin, as_of), end) if begin and max(begin, as_of) < end else None
