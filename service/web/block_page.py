"""/blocks/ID: how one block stands, its dates with bounds, how they were reached, what was told."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from datetime import date
from http import HTTPStatus
from typing import Literal

import numpy as np
from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlalchemy import Connection, Engine

from alerts.bounds import DateRange
from alerts.card import cautions
from alerts.digest import say_of_vines
from alerts.figures import show_day, show_depths, show_when
from alerts.lines import bind_numbers
from alerts.news import name_season, tidy
from alerts.ribbon_svg import RibbonRow, draw_key, draw_ribbons
from alerts.season import season_start
from alerts.sentences import tell
from alerts.why.facts import Why
from alerts.why.words import tell_why, title_why
from alerts.words import translations
from probes.units import Unit
from service.evaluation import BlockEvaluation
from service.settings import Settings
from service.showing import find_season, name_years
from service.store.block_pictures import LAST_MONTHS, PictureForm, find_picture
from service.store.blocks import fetch_block_names, fetch_blocks
from service.store.engine import reading
from service.store.loggers import fetch_probes
from service.store.notices import fetch_last_notices
from service.web.access import Known
from service.web.chart_page import Season
from service.web.pages import answer_page, answer_while_it_holds, choose_language
from service.web.problems import Problem
from service.web.seen_blocks import see, unname_sources, unname_why
from service.why import explain_today, explain_windows

SEASONS = 3
MOST_TOLD = 8
CHART_SEASONS = 10
"""Of which a chart may be chosen."""


def block_page_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the route of the page."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/blocks/{block_id}")
    def show(
        request: Request,
        block_id: str,
        who: Known,
        why: Literal["all"] | None = None,
        season: Season = LAST_MONTHS,
    ) -> Response:
        """Show a block that the visitor may see; how all dates of its season were reached, or
        only how it stands; the chart of its last months, or of a season.
        """
        language, unit, reach = choose_language(request), who.account.unit, who.reach
        with reading(engine) as connection:
            chosen = fetch_blocks(connection, [block_id]) if block_id in reach.block_ids else []
            if not chosen:
                raise Problem(HTTPStatus.NOT_FOUND, "no block of yours has this id")
            names = fetch_block_names(connection, reach.block_ids)
            (seen,) = see(connection, chosen, SEASONS, settings, names, language)
            now = seen.now
            whys = _explain(connection, now, why == "all", names, language)
            probes = [*_find_probes(connection, now, language)]
            told = fetch_last_notices(connection, [block_id], MOST_TOLD)
            drawn = find_picture(connection, PictureForm(block_id, season, language, unit))
        latest = now.evaluation.standing.season
        rows = [
            RibbonRow(name_years(year, now.block.south), find_season(now, year))
            for year in range(latest, latest - SEASONS, -1)
        ]
        page = answer_page(
            request,
            "block.html",
            id=block_id,
            name=tidy(now.block.name),
            site=tidy(now.block.site_name),
            text=bind_numbers(seen.tell(language, unit)),
            readings=bind_numbers(seen.tell_readings(language)),
            ribbons=Markup(draw_ribbons(rows, tidy(now.block.name), language)),  # noqa: S704 (our own)
            chart=drawn and bind_numbers(drawn.described),
            season=season,
            seasons=[
                (year, name_years(year, now.block.south))
                for year in range(latest, latest - CHART_SEASONS, -1)
            ],
            dates=[*_find_dates(now, language)],
            whys=[_tell(one, language, unit, now.as_of) for one in whys],
            has_all=why == "all",
            probes=probes,
            gaps=_count_days(now),
            told=[
                (
                    show_day(at.date(), language, now.as_of),
                    bind_numbers(
                        tell(
                            replace(one, sources=unname_sources(one.sources, names, language)),
                            language,
                            unit,
                            at.date(),
                        )
                    ),
                )
                for _, at, one in told
            ],
            key=Markup(draw_key(language)),  # noqa: S704 (our own)
            vines=say_of_vines(language),
            cautions=cautions(language) if now.state == "open" else [],
        )
        return answer_while_it_holds(request, page)

    return routes


def _find_dates(one: BlockEvaluation, language: str) -> Iterator[dict[str, str]]:
    """Yield each window, the latest first: its dates, and between which days they may lie."""

    def between(days: DateRange | None) -> str:
        if days is None:
            return ""
        if days.latest is None:
            day = show_day(days.earliest, language, one.as_of, short=True)
            return translations(language).gettext("from {day} on").format(day=day)
        return show_when(days.latest, language, one.as_of, days.earliest, short=True)

    seen = language, one.as_of
    both = zip(one.evaluation.spans, one.bounds, strict=True)
    for span, bounds in reversed([*both]):
        season = name_season(span.kind, language)
        years = name_years(span.season, one.block.south)
        closed = ""
        if span.closed_on:
            closed = show_when(span.closed_on, *seen, span.closed_not_before, short=True)
        yield {
            "season": f"{season[:1].upper()}{season[1:]}, {years}",
            "opened": show_when(span.opened_on, *seen, span.not_before, short=True),
            "opened_between": between(bounds.opened),
            "closed": closed,
            "closed_between": between(bounds.closed),
        }


def _explain(
    connection: Connection,
    one: BlockEvaluation,
    with_dates: bool,
    names: Collection[str],
    language: str,
) -> list[Why]:
    """Return what decided how it stands, then what decided the other dates of the season."""
    today, others = explain_today(connection, one), []
    if with_dates:
        found = explain_windows(connection, one, one.evaluation.standing.season, None)
        others = [
            why for why in reversed(found) if (why.event, why.day) != (today.event, today.day)
        ]
    return [unname_why(why, names, language) for why in (today, *others)]


def _tell(why: Why, language: str, unit: Unit, as_of: date) -> tuple[str, list[str]]:
    steps = [bind_numbers(sentence) for sentence in tell_why(why, language, unit)]
    return bind_numbers(title_why(why, language, as_of)), steps


def _find_probes(
    connection: Connection, one: BlockEvaluation, language: str
) -> Iterator[tuple[str, str]]:
    """Yield the depth and the logger of each probe that serves a block now, from the top down."""
    used = one.block.in_use
    ids = [stretch.probe_id for stretch in used]
    logger_of = {probe.id: logger.id for logger, probe in fetch_probes(connection, ids)}
    for stretch in used:
        yield show_depths([stretch.depth_cm], language), logger_of[stretch.probe_id]


def _count_days(one: BlockEvaluation) -> dict[str, int]:
    """Return how many days the season has had so far, and how many were not measured."""
    first = season_start(one.evaluation.standing.season, one.block.south)
    zone = one.root_zone
    of_season = zone.day >= np.datetime64(first)
    known = of_season & ~np.isnan(zone.root_zone_c)
    days = (one.as_of - first).days + 1
    borrowed = known & zone.borrowed
    return {
        "days": days,
        "missing": days - int(known.sum()),
        "estimated": int((known & zone.estimated & ~borrowed).sum()),
        "borrowed": int(borrowed.sum()),
    }
