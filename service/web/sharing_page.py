"""/sharing: whether others see a grower's sites; only the grower says so."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import Engine

from service.store.engine import reading, writing
from service.store.finds_consents import agree_to_finds, fetch_finds_consents, take_finds_back
from service.store.sharing import fetch_sharing, fetch_site_names, share, withdraw
from service.web.access import Grower
from service.web.pages import Filled, answer_page, redirect
from service.web.problems import Problem


def sharing_page_routes(engine: Engine) -> APIRouter:
    """Return the routes of the page."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/sharing")
    def show(request: Request, who: Grower) -> Response:
        """Show how it stands with each site."""
        with reading(engine) as connection:
            sharing = fetch_sharing(connection)
            names = fetch_site_names(connection)
            finds = fetch_finds_consents(connection)
        own = sorted(who.reach.own_site_ids, key=lambda one: names[one])
        sites = [(one, names[one], sharing.get(one), finds.get(one)) for one in own]
        return answer_page(request, "sharing.html", sites=sites)

    @routes.post("/sharing/{site_id}")
    def say(site_id: str, fields: Filled, who: Grower) -> Response:
        """Keep what the grower says."""
        if site_id not in who.reach.own_site_ids:
            raise Problem(HTTPStatus.NOT_FOUND, "no site of yours has this id")
        now, said = datetime.now(UTC), fields.get("say")
        with writing(engine) as connection:
            if said in ("about", "exact"):
                share(connection, site_id, said == "exact", who.account.email, now)
                how = "with" if said == "exact" else "without"
                who.note(connection, f"shared a site {how} its exact place", site_id, now)
            elif withdraw(connection, site_id):
                who.note(connection, "shared a site no longer", site_id, now)
        return redirect("/sharing")

    @routes.post("/sharing/{site_id}/finds")
    def say_of_finds(site_id: str, fields: Filled, who: Grower) -> Response:
        """Keep whether the coordinator is told of finds."""
        if site_id not in who.reach.own_site_ids:
            raise Problem(HTTPStatus.NOT_FOUND, "no site of yours has this id")
        now, email = datetime.now(UTC), who.account.email
        with writing(engine) as connection:
            if fields.get("say") == "yes":
                if agree_to_finds(connection, site_id, email, now):
                    who.note(connection, "let the coordinator see finds", site_id, now)
            elif take_finds_back(connection, site_id, email, now):
                who.note(connection, "let the coordinator see finds no longer", site_id, now)
        return redirect("/sharing")

    return routes
