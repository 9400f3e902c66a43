"""/region: how the districts within a visitor's reach stand, with a map and the share open."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlalchemy import Engine

from alerts.advisories.figures import Advisory, Group
from alerts.advisories.letter import name_district, tell_dates, tell_outcomes
from alerts.digest import say_of_vines
from alerts.figures import show_day
from alerts.lines import bind_numbers
from alerts.region.map import draw_map
from alerts.region.marks import MapBlock
from alerts.region.shares import Shares
from alerts.words import translations
from service.advisories.drafting import find_figures
from service.evaluation import as_of_day, evaluate_blocks
from service.reach import Reach
from service.region import fetch_district_names, place_blocks, share_open
from service.settings import Settings
from service.share_charts import draw_share_svg
from service.store.engine import reading
from service.store.rounds import fetch_last_round_at
from service.web.access import Known
from service.web.pages import answer_page, answer_while_it_holds, choose_language
from service.web.problems import Problem
from service.web.seen_blocks import find_blocks

MOST_KEPT = 16
COUNTS = ("blocks", "open", "opening", "waiting", "resting", "over", "not_known")
"""Of alerts.advisories.figures.Group; those that no block stands in are not shown."""


@dataclass(frozen=True)
class _Region:
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


class _Regions:
    """Regions as the last round left them, each found once for all who see the same of it."""

    def __init__(self, engine: Engine, settings: Settings) -> None:
        self._engine, self._settings = engine, settings
        self._kept: OrderedDict[tuple[datetime, date, Reach], _Region] = OrderedDict()

    def find(self, reach: Reach) -> _Region | None:
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

    def _find(self, reach: Reach, now: datetime) -> _Region | None:
        with reading(self._engine) as connection:
            blocks = find_blocks(connection, reach)
            if not blocks:
                return None
            days = [as_of_day(one, now) for one in blocks]
            accuracy_c = self._settings.sensor_accuracy_c
            found = evaluate_blocks(connection, blocks, days, 1, accuracy_c)
            names, figures = fetch_district_names(connection), find_figures(connection, found)
        places = [
            replace(place, latitude=latitude, longitude=longitude)
            for place, one in zip(place_blocks(found, names), blocks, strict=True)
            for latitude, longitude in [reach.place(one.site_id, one.latitude, one.longitude)]
        ]
        return _Region(figures, places, share_open(found, names))


def region_page_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes of the page and its picture."""
    routes = APIRouter(include_in_schema=False)
    regions = _Regions(engine, settings)

    @routes.get("/region")
    def show(request: Request, who: Known) -> Response:
        """Show the districts of the visitor's blocks."""
        language, reach = choose_language(request), who.reach
        region = regions.find(reach)
        values: dict[str, Any] = _show(region, language) if region else {"day": None}
        is_blurred = bool(reach.site_ids - reach.exact_site_ids)
        page = answer_page(request, "region.html", is_blurred=is_blurred, **values)
        return answer_while_it_holds(request, page)

    @routes.get("/region/share.svg")
    def draw(request: Request, who: Known) -> Response:
        """Draw the share of the visitor's blocks that were open, by district and day."""
        region = regions.find(who.reach)
        if region is None:
            raise Problem(HTTPStatus.NOT_FOUND, "no block is yours to see")
        picture = region.draw_share(choose_language(request))
        return answer_while_it_holds(request, Response(picture, media_type="image/svg+xml"))

    return routes


def _show(region: _Region, language: str) -> dict[str, Any]:
    figures = region.figures
    as_of, organisation = figures.as_of, translations(language).gettext("Region")

    def tell(group: Group) -> str:
        return bind_numbers(" ".join(tell_dates(group, language, as_of)))

    def rows(groups: Iterator[tuple[str, Group]]) -> list[tuple[str, Group, str]]:
        return [(name, one, tell(one)) for name, one in groups]

    districts = (
        (name_district(one, figures, organisation, language), one.group)
        for one in figures.districts
    )
    bands = ((f"{one.from_m}-{one.to_m} m", one.group) for one in figures.bands)
    return {
        "day": show_day(as_of, language, as_of),
        "counts": [one for one in COUNTS if getattr(figures.region, one)],
        "outcomes": tell_outcomes(figures.region, language),
        "text": tell(figures.region),
        "map": Markup(draw_map(region.places, "", language)),  # noqa: S704 (our own)
        "districts": rows(districts),
        "bands": rows(bands),
        "vines": say_of_vines(language),
    }
