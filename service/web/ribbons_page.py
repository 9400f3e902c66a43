"""/ribbons: seasons below each other, a day a cell: of all blocks, or all years of one."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus
from itertools import groupby
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlalchemy import Engine

from alerts.digest import say_of_vines
from alerts.news import tidy
from alerts.ribbon_svg import RibbonRow, draw_key, draw_ribbons
from alerts.state_words import show_state
from service.settings import Settings
from service.showing import find_season, find_seasons, name_years
from service.store.engine import reading
from service.web.access import Known
from service.web.pages import answer_page, answer_while_it_holds, choose_language
from service.web.problems import Problem
from service.web.seen_blocks import SeenBlock, find_blocks, see

AT_ONCE, BACK = 60, 12
"""Blocks in a page; seasons that may be chosen."""


def ribbons_page_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the route of the page."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/ribbons")
    def show(
        request: Request,
        who: Known,
        block: str = "",
        season: Annotated[int | None, Query(ge=1900, le=2200)] = None,
        after: Annotated[int, Query(ge=0, le=1_000_000)] = 0,
    ) -> Response:
        """Show one season of the visitor's blocks, the latest unless given, or all of `block`."""
        language = choose_language(request)
        with reading(engine) as connection:
            every = find_blocks(connection, who.reach)
            names = {one.name for one in every}
            of_one = [one for one in every if one.id == block]
            if block and not of_one:
                raise Problem(HTTPStatus.NOT_FOUND, "no block of yours has this id")
            chosen = of_one or every[after : after + AT_ONCE]
            seasons = 1 if season is None else max(datetime.now(UTC).year + 2 - season, 1)
            seasons = None if block else seasons
            seen = see(connection, chosen, seasons, settings, names, language)
        now = max((one.now.evaluation.standing.season for one in seen), default=BACK)
        pictures = _draw_years(seen[0], language) if block else _draw_sites(seen, season, language)
        page = answer_page(
            request,
            "ribbons.html",
            name=tidy(of_one[0].name) if of_one else "",
            pictures=pictures,
            blocks=[(one.id, tidy(one.name)) for one in chosen],
            block=block,
            season=now if season is None else season,
            seasons=[
                (year, name_years(year, seen[0].now.block.south))
                for year in range(now, now - BACK, -1)
                if seen and not block
            ],
            first=after + 1,
            last=after + len(chosen),
            total=len(every),
            at_once=AT_ONCE,
            key=Markup(draw_key(language)),  # noqa: S704 (our own)
            vines=say_of_vines(language),
            cautions=[],
        )
        return answer_while_it_holds(request, page)

    return routes


def _draw_years(one: SeenBlock, language: str) -> list[tuple[str, Markup]]:
    rows = [
        RibbonRow(name_years(year, one.now.block.south), find_season(one.now, year))
        for year in find_seasons(one.now)
    ]
    return [("", Markup(draw_ribbons(rows, tidy(one.shown.name), language)))]  # noqa: S704 (our own)


def _draw_sites(
    seen: list[SeenBlock], season: int | None, language: str
) -> list[tuple[str, Markup]]:
    """Return a picture for each site; how a block stands is told of the latest season only."""

    def row(one: SeenBlock) -> RibbonRow:
        state = show_state(one.now.state, language) if season is None else ""
        return RibbonRow(tidy(one.shown.name), find_season(one.now, season), state)

    sites = groupby(seen, lambda one: one.now.block.site_name)
    return [
        (
            tidy(site),
            Markup(draw_ribbons([row(one) for one in blocks], tidy(site), language, f"s{number}")),  # noqa: S704 (our own)
        )
        for number, (site, blocks) in enumerate(sites)
    ]
