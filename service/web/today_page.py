"""/today: how all blocks of a visitor stand, the answer first."""

from __future__ import annotations

from itertools import groupby
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlalchemy import Engine

from alerts.advisories.letter import tell_outcomes
from alerts.card import cautions
from alerts.digest import say_of_vines
from alerts.figures import show_day
from alerts.lines import bind_numbers
from alerts.news import tidy
from alerts.ribbon_svg import draw_key
from service.advisories.drafting import find_figures
from service.settings import Settings
from service.store.engine import reading
from service.web.access import Known
from service.web.pages import answer_page, answer_while_it_holds, choose_language
from service.web.seen_blocks import find_blocks, list_blocks, see

AT_ONCE = 20
"""Blocks on a page: so few are read without all others."""


def today_page_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the route of the page."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/today")
    def show(
        request: Request, who: Known, after: Annotated[int, Query(ge=0, le=1_000_000)] = 0
    ) -> Response:
        """Show how the blocks stand, so many at once; `after` how many."""
        language, unit, reach = choose_language(request), who.account.unit, who.reach
        with reading(engine) as connection:
            every = list_blocks(connection, reach)
            part = find_blocks(connection, reach, [*every][after : after + AT_ONCE])
            seen = see(connection, part, 1, settings, {*every.values()}, language)
            figures = find_figures(connection, [one.now for one in seen]) if seen else None
        blocks = [
            {
                "site": tidy(one.now.block.site_name),
                "id": one.now.block.id,
                "name": tidy(one.now.block.name),
                "text": bind_numbers(one.tell(language, unit)),
                "readings": bind_numbers(one.tell_readings(language)),
                "ribbon": Markup(one.draw(language, f"b{number}")),  # noqa: S704 (our own)
            }
            for number, one in enumerate(seen)
        ]
        page = answer_page(
            request,
            "today.html",
            day=figures and show_day(figures.as_of, language, figures.as_of),
            outcomes=figures and tell_outcomes(figures.region, language),
            sites=[
                (site, [*of_site]) for site, of_site in groupby(blocks, lambda one: one["site"])
            ],
            first=after + 1,
            last=after + len(seen),
            total=len(every),
            at_once=AT_ONCE,
            key=Markup(draw_key(language)),  # noqa: S704 (our own)
            vines=say_of_vines(language),
            cautions=cautions(language) if figures and figures.region.open else [],
        )
        return answer_while_it_holds(request, page)

    return routes
