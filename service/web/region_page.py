"""/region: how the districts within a visitor's reach stand, with a map and the share open."""

from __future__ import annotations

from collections.abc import Iterator
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup

from alerts.advisories.figures import Group
from alerts.advisories.letter import name_district, tell_dates, tell_outcomes
from alerts.digest import say_of_vines
from alerts.figures import show_day
from alerts.lines import bind_numbers
from alerts.region.map import draw_map
from alerts.words import translations
from service.web.access import Known
from service.web.pages import answer_page, answer_while_it_holds, choose_language
from service.web.problems import Problem
from service.web.regions import Region, Regions

COUNTS = ("blocks", "open", "opening", "waiting", "resting", "over", "not_known")
"""Of alerts.advisories.figures.Group; those that no block stands in are not shown."""


def region_page_routes(regions: Regions) -> APIRouter:
    """Return the routes of the page and its picture."""
    routes = APIRouter(include_in_schema=False)

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


def _show(region: Region, language: str) -> dict[str, Any]:
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
