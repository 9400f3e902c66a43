"""Regions as visitors see them: what the last round left, found once for all who see the same."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime

from sqlalchemy import Engine

from alerts.advisories.figures import Advisory
from alerts.region.marks import MapBlock
from alerts.region.shares import Shares
from service.advisories.drafting import find_figures
from service.charts.shares import draw_share_svg
from service.evaluation import BlockEvaluation, as_of_day, evaluate_blocks
from service.reach import Reach
from service.region import fetch_district_names, place_blocks, share_open
from service.settings import Settings
from service.store.engine import reading
from service.store.rounds import fetch_last_round_at
from service.web.seen_blocks import find_blocks

MOST_KEPT = 16


@dataclass(frozen=True)
class Region:
    """What a visitor sees of a region.

    drawn : the share open as SVG, by language, once it was asked for
    """

    figures: Advisory
    places: list[MapBlock]
    shares: Shares
    drawn: dict[str, str] = field(default_factory=dict)

    def draw_share(self, language: str) -> str:
        if language not in self.drawn:
            self.drawn[language] = draw_share_svg(self.shares, language)
        return self.drawn[language]


class Regions:
    """Regions as the last round left them, each found once for all who see the same of it."""

    def __init__(self, engine: Engine, settings: Settings) -> None:
        self._engine, self._settings = engine, settings
        self._kept: OrderedDict[tuple[datetime, date, Reach], Region] = OrderedDict()

    def find(self, reach: Reach) -> Region | None:
        """Return what is seen of it; None: no block is."""
        now = datetime.now(UTC)
        with reading(self._engine) as connection:
            last_round_at = fetch_last_round_at(connection)
        if last_round_at is None:
            return self._find(reach, now)
        key = last_round_at, now.date(), reach
        region = self._kept.get(key) or self._find(reach, now)
        if region:
            self._kept[key] = region
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
        return region

    def _find(self, reach: Reach, now: datetime) -> Region | None:
        with reading(self._engine) as connection:
            blocks = find_blocks(connection, reach)
            if not blocks:
                return None
            days = [as_of_day(one, now) for one in blocks]
            accuracy_c = self._settings.sensor_accuracy_c
            found = evaluate_blocks(connection, blocks, days, 1, accuracy_c)
            figures = find_figures(connection, [_without_height(one, reach) for one in found])
            names = fetch_district_names(connection)
        places = [
            replace(place, latitude=latitude, longitude=longitude)
            for place, one in zip(place_blocks(found, names), blocks, strict=True)
            for latitude, longitude in [reach.place(one.site_id, one.latitude, one.longitude)]
        ]
        return Region(figures, places, share_open(found, names))


def _without_height(one: BlockEvaluation, reach: Reach) -> BlockEvaluation:
    """Return what was found of a block without its height, where it may not be seen how it lies."""
    if one.block.site_id in reach.exact_site_ids:
        return one
    return replace(one, block=replace(one.block, elevation_m=None))
