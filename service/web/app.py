"""The HTTP application: its routes together, and the scheduled rounds beside them."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, nullcontext

from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles
from sqlalchemy import Engine
from starlette.middleware.gzip import GZipMiddleware

from service.scheduler import ticking, watching
from service.settings import Settings
from service.store.engine import with_brief_patience
from service.web.access import TOKEN_PER_MIN, check_rules
from service.web.account_page import account_page_routes
from service.web.advisories_page import advisories_page_routes
from service.web.api.account import account_routes
from service.web.api.advisories import advisories_routes
from service.web.api.calendars import calendars_routes
from service.web.api.care import care_routes
from service.web.api.cautions import cautions_routes
from service.web.api.crew_days import crew_days_routes
from service.web.api.days import days_routes
from service.web.api.description import description_routes
from service.web.api.dug import dug_routes
from service.web.api.files import files_routes
from service.web.api.finds import finds_routes
from service.web.api.hand import hand_api_routes
from service.web.api.imports import imports_routes
from service.web.api.loggers import loggers_routes
from service.web.api.lots import lots_routes
from service.web.api.messages import messages_routes
from service.web.api.notices import notices_routes
from service.web.api.order import order_routes
from service.web.api.outlooks import outlooks_routes
from service.web.api.patches import patches_routes
from service.web.api.people import people_routes
from service.web.api.places import places_routes
from service.web.api.pushes import pushes_routes
from service.web.api.readings import readings_routes
from service.web.api.region import region_routes
from service.web.api.season_days import season_days_routes
from service.web.api.sharing import sharing_routes
from service.web.api.spread import spread_routes
from service.web.api.uploads import uploads_routes
from service.web.api.vigour import vigour_routes
from service.web.api.whys import whys_routes
from service.web.api.windows import windows_routes
from service.web.bearer import Door, RateLimit
from service.web.block_page import block_page_routes
from service.web.bounces import bounces_routes
from service.web.bulletin_page import bulletin_page_routes
from service.web.calendar_page import calendar_page_routes
from service.web.care_pages import care_pages_routes
from service.web.chart_page import chart_page_routes
from service.web.consent_page import consent_page_routes
from service.web.crew_days_page import crew_days_page_routes
from service.web.dug_page import dug_page_routes
from service.web.finds_page import finds_page_routes
from service.web.guards import Guards
from service.web.hand_page import hand_page_routes
from service.web.health import health_routes
from service.web.held_pages import held_page_routes
from service.web.imports_page import imports_page_routes
from service.web.lot_page import lot_page_routes
from service.web.metrics import metrics_routes
from service.web.notices_page import notices_page_routes
from service.web.order_page import order_page_routes
from service.web.patches_page import patches_page_routes
from service.web.people_page import people_page_routes
from service.web.provider_page import provider_page_routes
from service.web.refusals import add_refusals
from service.web.region_page import region_page_routes
from service.web.regions import Regions
from service.web.replanting_page import replanting_page_routes
from service.web.requests_seen import RequestsSeen
from service.web.ribbons_page import ribbons_page_routes
from service.web.sharing_page import sharing_page_routes
from service.web.sign_in import sign_in_routes
from service.web.style import style_routes
from service.web.surveys_page import surveys_page_routes
from service.web.texts import texts_routes
from service.web.today_page import today_page_routes
from service.web.uploads_page import uploads_page_routes

PACKED = 5
"""Of nine levels of gzip: those above cost more than they save."""


def make_app(engine: Engine, settings: Settings, with_rounds: bool = True) -> FastAPI:
    """Return the application over a store; `with_rounds` runs the rounds that are due beside it.

    Without them it still looks after those that another process runs, where an operator is named.
    """
    patient = engine

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        beside = watching(patient, settings) if settings.operator else nullcontext()
        with ticking(patient, settings) if with_rounds else beside:
            yield

    app = FastAPI(
        title="Digseason", lifespan=lifespan, docs_url=None, redoc_url=None, openapi_url=None
    )
    app.add_middleware(GZipMiddleware, compresslevel=PACKED)
    app.add_middleware(Guards, base_url=settings.base_url)
    app.add_middleware(RequestsSeen)
    add_refusals(app)
    engine = with_brief_patience(engine)
    door, regions = Door(engine, settings), Regions(engine, settings)
    routers = (
        style_routes(settings),
        description_routes(),
        sign_in_routes(engine, settings),
        provider_page_routes(engine, settings),
        today_page_routes(engine, settings),
        block_page_routes(engine, settings),
        chart_page_routes(engine, settings),
        patches_page_routes(engine, settings),
        surveys_page_routes(engine),
        ribbons_page_routes(engine, settings),
        lot_page_routes(engine, settings),
        crew_days_page_routes(engine, settings),
        region_page_routes(regions),
        notices_page_routes(engine),
        advisories_page_routes(engine, settings),
        uploads_page_routes(engine),  # before those of an import, whose number it has not
        imports_page_routes(engine),
        order_page_routes(engine),
        finds_page_routes(engine),
        finds_routes(engine),
        bulletin_page_routes(engine, settings),
        calendar_page_routes(engine, settings),
        replanting_page_routes(engine),
        account_page_routes(engine),
        people_page_routes(engine, settings),
        held_page_routes(engine, settings),
        sharing_page_routes(engine),
        care_pages_routes(engine, settings),
        health_routes(engine),
        metrics_routes(engine, settings),
        places_routes(engine),
        loggers_routes(engine),
        readings_routes(engine),
        days_routes(engine, settings),
        windows_routes(engine, settings),
        whys_routes(engine, settings),
        season_days_routes(engine, settings),
        outlooks_routes(engine, settings),
        notices_routes(engine),
        messages_routes(engine),
        uploads_routes(engine),  # before those of an import, whose number it has not
        imports_routes(engine),
        dug_routes(engine),
        order_routes(engine),
        crew_days_routes(engine, settings),
        lots_routes(engine),
        patches_routes(engine),
        vigour_routes(engine),
        spread_routes(engine),
        cautions_routes(),
        advisories_routes(engine, settings),
        region_routes(regions),
        sharing_routes(engine),
        account_routes(engine),
        calendars_routes(engine),
        people_routes(engine, settings),
        care_routes(engine, settings),
        pushes_routes(engine, door),
        hand_api_routes(engine, door),
        hand_page_routes(engine, door),
        consent_page_routes(engine, settings, door),
        dug_page_routes(engine, settings, door),
        texts_routes(engine, settings, door),
        bounces_routes(engine, settings, door),
    )
    routers = (*routers, files_routes(routers))
    app.state.engine, app.state.settings = engine, settings
    app.state.rate = RateLimit(TOKEN_PER_MIN)
    app.state.roles_of = check_rules(routers)
    app.state.routers = routers
    for routes in routers:
        app.include_router(routes)
    app.mount("/static", StaticFiles(packages=[("service.web", "static")]))
    return app
