"""/checkup: what `digseason check` says; /deeds: who did what."""

from __future__ import annotations

from datetime import UTC, datetime

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import Engine

from service.settings import Settings
from service.store.audit import fetch_deeds
from service.store.engine import reading
from service.watching.checkup import Finding, check_service
from service.web.access import administrators
from service.web.api.parts import Number
from service.web.pages import answer_page, choose_language
from service.web.translating import DEEDS, FINDINGS, THINGS, translate

AT_ONCE = 100


def care_pages_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes of the pages."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/checkup", dependencies=[administrators])
    def check(request: Request) -> Response:
        """Show what wants a look, and what is fine."""
        now = datetime.now(UTC)
        language = choose_language(request)
        findings = [
            Finding(
                translate(one.what, THINGS, language),
                translate(one.said, FINDINGS, language),
                one.remedy and translate(one.remedy, FINDINGS, language),
            )
            for one in check_service(engine, settings, now)
        ]
        return answer_page(request, "checkup.html", findings=findings, now=now)

    @routes.get("/deeds", dependencies=[administrators])
    def show(request: Request, before: Number | None = None) -> Response:
        """Show what was done, the latest first."""
        with reading(engine) as connection:
            deeds = fetch_deeds(connection, AT_ONCE + 1, before)
        older = deeds[AT_ONCE - 1].id if len(deeds) > AT_ONCE else None
        language = choose_language(request)
        shown = [(one, translate(one.what, DEEDS, language)) for one in deeds[:AT_ONCE]]
        return answer_page(request, "deeds.html", deeds=shown, older=older)

    return routes
