"""/crew-days: which crew digs which block on which day, as a list, a calendar and a sheet."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from http import HTTPStatus
from typing import Annotated, Any

from babel.dates import format_date, get_day_names
from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import BaseModel, BeforeValidator, Field
from sqlalchemy import Engine

from alerts.calendar import write_feed
from alerts.card import cautions
from alerts.dig.crew_days import Crews
from alerts.dig.plan import find_dig_events, plan_words, tell_left, tell_plan, tell_window
from alerts.figures import locale_of
from alerts.lines import bind_numbers
from alerts.news import tidy
from service.dig_days import CrewPlan, count_vines, find_days, plan_digs
from service.evaluation import as_of_day
from service.patches import VINES_EACH
from service.settings import Settings
from service.store.blocks import Block
from service.store.engine import reading
from service.web.access import Planner, Visitor
from service.web.pages import answer_page, choose_language
from service.web.problems import Problem
from service.web.seen_blocks import find_blocks

MOST_BLOCKS = 40
Day = Annotated[date | None, BeforeValidator(lambda text: text or None)]


class Asked(BaseModel):
    """What a plan is asked for; `blocks` by id, all within reach unless said."""

    per_hour: Annotated[float, Field(gt=0, le=1000)] = 6.0
    hours: Annotated[float, Field(gt=0, le=16)] = 6.0
    crews: Annotated[int, Field(ge=1, le=200)] = 1
    vines: Annotated[int, Field(ge=1, le=100_000)] = VINES_EACH
    span: Annotated[int, Field(ge=1, le=120)] = 42
    off: Annotated[list[Annotated[int, Field(ge=0, le=6)]], Field(max_length=7)] = []
    first: Day = None
    blocks: Annotated[str, Field(max_length=4000)] = ""


def crew_days_page_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes of the page, its calendar and its sheet."""
    routes = APIRouter(include_in_schema=False)

    def plan(who: Visitor, asked: Asked) -> CrewPlan | None:
        """Return the plan; None: too many blocks are within reach to plan for all."""
        now = datetime.now(UTC)
        with reading(engine) as connection:
            blocks = _choose(find_blocks(connection, who.reach), asked.blocks)
            if len(blocks) > MOST_BLOCKS:
                return None
            until = [as_of_day(one, now) for one in blocks]
            begin = asked.first or max(until, default=now.date()) + timedelta(days=1)
            days = find_days(begin, asked.span, asked.off)
            vines_a_day = int(asked.per_hour * asked.hours + 1e-9)
            if not days or vines_a_day < 1:
                said = "there is no day to dig on, or a crew digs less than one vine a day"
                raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, said)
            vines = {one.id: count_vines(connection, one, asked.vines) for one in blocks}
            crews = Crews(asked.crews, vines_a_day)
            accuracy_c = settings.sensor_accuracy_c
            return plan_digs(connection, blocks, until, vines, days, crews, accuracy_c)

    @routes.get("/crew-days")
    def show(request: Request, who: Planner, asked: Annotated[Asked, Query()]) -> Response:
        """Show the form, and the plan once it was filled in."""
        language = choose_language(request)
        is_asked = bool(request.url.query)
        found = plan(who, asked) if is_asked else None
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
        found, language, now = need(who, asked), choose_language(request), datetime.now(UTC)
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

        content = print_plan(need(who, asked), choose_language(request), "a4")
        return Response(content, media_type="application/pdf")

    def need(who: Visitor, asked: Asked) -> CrewPlan:
        found = plan(who, asked)
        if found is None:
            raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, f"name at most {MOST_BLOCKS} blocks")
        return found

    return routes


def _choose(blocks: list[Block], ids: str) -> list[Block]:
    """Return the blocks that are named by id, or all of them."""
    wanted = set(ids.replace(",", " ").split())
    if wanted - {one.id for one in blocks}:
        raise Problem(HTTPStatus.NOT_FOUND, "no block of yours has this id")
    return [one for one in blocks if not wanted or one.id in wanted]


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
