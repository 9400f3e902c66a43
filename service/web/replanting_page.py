"""/replanting: how the blocks of a visitor stand, how far it has spread, what to decide by."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import Engine

from alerts.dig.patch_words import name_patch
from alerts.dig.spread_words import (
    explain_replanting,
    explain_spread,
    replanting_words,
    show_share,
    tell_growth,
    tell_years,
)
from alerts.dig.status_words import name_standing, tell_status
from alerts.lines import bind_numbers
from alerts.news import tidy
from alerts.words import translations
from service.dig.spread import BlockSpread, find_spread
from service.dig.status import today_at
from service.store.engine import reading
from service.web.access import Planner
from service.web.pages import answer_page, answer_while_it_holds, choose_language
from service.web.seen_blocks import find_told_blocks

SHARES = (0.1, 0.25, 0.5)


def replanting_page_routes(engine: Engine) -> APIRouter:
    """Return the route of the page."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/replanting")
    def show(request: Request, who: Planner) -> Response:
        """Show the table, and how what is weak or infested has grown."""
        language = choose_language(request)
        with reading(engine) as connection:
            blocks, left_out = find_told_blocks(connection, who)
            found = find_spread(connection, blocks, today_at(blocks, datetime.now(UTC)))
        page = answer_page(
            request,
            "replanting.html",
            words=replanting_words(language),
            shares=[f"{100 * share:g} %" for share in SHARES],
            blocks=[_show(one, language) for one in found],
            left_out=left_out,
            notes=[*explain_replanting(language), *explain_spread(language)],
        )
        return answer_while_it_holds(request, page)

    return routes


def _show(one: BlockSpread, language: str) -> dict[str, Any]:
    share, affected = one.share, one.affected
    return {
        "id": one.block.id,
        "name": tidy(one.block.name),
        "site": tidy(one.block.site_name),
        "stands": name_standing(one.status.standing, language),
        "told": bind_numbers(tell_status(one.status, language)),
        "age": one.age,
        "roots": one.stand.roots and tidy(one.stand.roots),
        "share": None if share is None else bind_numbers(show_share(share, language)),
        "years": [_tell_years(one, target, language) for target in SHARES],
        "growth": [bind_numbers(text) for text in _tell_growth(one, language)],
        "uncounted": bool(affected) and one.vines is None,
    }


def _tell_years(one: BlockSpread, target: float, language: str) -> str:
    if one.share is not None and one.share >= target:
        return translations(language).gettext("reached")
    years = one.find_years(target)
    return tell_years(years, language) if years else ""


def _tell_growth(one: BlockSpread, language: str) -> Iterator[str]:
    _ = translations(language).gettext
    for growth in one.weak_growth:
        yield tell_growth(growth, _("weak vines"), language)
    for number, of_patch in one.patch_growth.items() if len(one.patch_growth) > 1 else ():
        for growth in of_patch:
            yield tell_growth(growth, name_patch(number, language), language)
    for growth in one.found_growth:
        yield tell_growth(growth, _("vines with a find or a suspicion"), language)
