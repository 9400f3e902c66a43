"""/crew-days: which crew digs which block on which day, as a list, a calendar and a sheet."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Any

from babel.dates import format_date, get_day_names
from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from sqlalchemy import Engine

from alerts.calendar import write_feed
from alerts.card import cautions
from alerts.dig.plan import find_dig_events, plan_words, tell_left, tell_plan, tell_window
from alerts.figures import locale_of
from alerts.lines import bind_numbers
from alerts.news import tidy
from service.dig.days import CrewPlan
from service.settings import Settings
from service.web.access import Planner
from service.web.crew_plans import MOST_BLOCKS, Asked, find_plan, need_plan
from service.web.pages import answer_page, choose_language


def crew_days_page_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes of the page, its calendar and its sheet."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/crew-days")
    def show(request: Request, who: Planner, asked: Annotated[Asked, Query()]) -> Response:
        """Show the form, and the plan once it was filled in."""
        language = choose_language(request)
        is_asked = bool(request.url.query)
        found = find_plan(engine, settings, who, asked) if is_asked else None
        names = get_day_names("wide", "stand-alone", locale_of(language))
        return answer_page(
            request,
            "crew_days.html",
            asked=asked,
            first=asked.first.isoformat() if asked.first else "",
            weekdays=[(day, names[day]) for day in range(7)],
            is_asked=is_asked,
            found=found and _show(found, language),
            most=MOST_BLOCKS,
            query=request.url.query,
            words=plan_words(language),
            cautions=cautions(language),
        )

    @routes.get("/crew-days.ics")
    def write(request: Request, who: Planner, asked: Annotated[Asked, Query()]) -> Response:
        """Write the plan as a calendar."""
        language, now = choose_language(request), datetime.now(UTC)
        found = need_plan(engine, settings, who, asked)
        places = {one.id: (one.name, one.site_name) for one in found.blocks.values()}
        events = find_dig_events(found.days, places, language, found.as_of, now)
        feed = write_feed(events, plan_words(language).title, now)
        return Response(feed, media_type="text/calendar; charset=utf-8")

    @routes.get("/crew-days.pdf")
    def print_sheet(
        request: Request,
        who: Planner,
        asked: Annotated[Asked, Query()],
    ) -> Response:
        """Print the plan."""
        from service.sheets.plan_sheet import print_plan

        found = need_plan(engine, settings, who, asked)
        content = print_plan(found, choose_language(request), "a4")
        return Response(content, media_type="application/pdf")

    return routes


def _show(found: CrewPlan, language: str) -> dict[str, Any]:
    def name(block_id: str) -> str:
        block = found.blocks[block_id]
        return f"{tidy(block.name)}, {tidy(block.site_name)}"

    return {
        "told": found.days and bind_numbers(tell_plan(found.days, language, found.as_of)),
        "days": [
            {
                "day": bind_numbers(format_date(one.day, "EEE d MMM", locale_of(language))),
                "crew": one.crew,
                "id": one.job.block_id,
                "name": name(one.job.block_id),
                "vines": one.vines,
                "window": bind_numbers(tell_window(one, language, found.as_of)),
            }
            for one in found.days
        ],
        "left": [
            tell_left(tidy(found.blocks[block_id].name), vines, language)
            for block_id, vines in found.left.items()
        ],
        "without": [(block_id, name(block_id)) for block_id in found.why_not],
    }
