"""/sharing: whether others see a grower's sites; only the grower says so."""

from __future__ import annotations

from datetime import UTC, datetime

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import Engine

from service.store.engine import reading, writing
from service.web.access import Grower
from service.web.own_sharing import Shared, find_own_sites, say_finds, say_sharing
from service.web.pages import Filled, answer_page, redirect


def sharing_page_routes(engine: Engine) -> APIRouter:
    """Return the routes of the page."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/sharing")
    def show(request: Request, who: Grower) -> Response:
        """Show how it stands with each site."""
        with reading(engine) as connection:
            sites = find_own_sites(connection, who)
        return answer_page(request, "sharing.html", sites=sites)

    @routes.post("/sharing/{site_id}")
    def say(site_id: str, fields: Filled, who: Grower) -> Response:
        """Keep what the grower says."""
        shared: dict[str, Shared] = {"about": "about", "exact": "exact"}
        with writing(engine) as connection:
            how = shared.get(fields.get("say", ""), "no")
            say_sharing(connection, who, site_id, how, datetime.now(UTC))
        return redirect("/sharing")

    @routes.post("/sharing/{site_id}/finds")
    def say_of_finds(site_id: str, fields: Filled, who: Grower) -> Response:
        """Keep whether the coordinator is told of finds."""
        with writing(engine) as connection:
            say_finds(connection, who, site_id, fields.get("say") == "yes", datetime.now(UTC))
        return redirect("/sharing")

    return routes
