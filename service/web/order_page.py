"""/order: in which order to go to the blocks of a visitor, and what to clean in between."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from sqlalchemy import Engine

from alerts.card import cautions
from alerts.dig.hygiene import explain_cleaning, explain_order, name_cleaning, warn_of_cleaning
from alerts.dig.order import Visit
from alerts.dig.order_words import order_words, show_way
from alerts.dig.status_words import tell_status
from alerts.lines import bind_numbers
from alerts.news import tidy
from service.dig.order import read_place
from service.store.blocks import Block
from service.store.engine import reading
from service.web.access import Planner
from service.web.pages import answer_page, choose_language
from service.web.visits import find_visits


def order_page_routes(engine: Engine) -> APIRouter:
    """Return the route of the page."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/order")
    def show(
        request: Request, who: Planner, begin: Annotated[str, Query(alias="from")] = ""
    ) -> Response:
        """Show the order of the blocks; `from` is the latitude and longitude to begin at."""
        language, start = choose_language(request), read_place(begin)
        with reading(engine) as connection:
            blocks, left_out, visits = find_visits(connection, who, start)
        named = {one.id: one for one in blocks}
        return answer_page(
            request,
            "order.html",
            words=order_words(language),
            visits=[_show(one, named[one.stop.block_id], language) for one in visits],
            why=explain_order(language),
            cleaning=explain_cleaning(language),
            warnings=[*warn_of_cleaning(language), *cautions(language)],
            is_blurred=any(one.site_id not in who.reach.exact_site_ids for one in blocks),
            left_out=left_out,
            begin=begin.strip(),
            is_refused=bool(begin.strip()) and start is None,
        )

    return routes


def _show(visit: Visit, block: Block, language: str) -> dict[str, str]:
    way = show_way(visit.way_km, language)
    cleaning = name_cleaning(visit.cleaning, language)
    before = f"{way}, {cleaning}" if way else cleaning
    return {
        "id": block.id,
        "name": tidy(block.name),
        "site": tidy(block.site_name),
        "before": bind_numbers(before[:1].upper() + before[1:]),
        "told": bind_numbers(tell_status(visit.stop.status, language)),
    }
