"""/calendar/SECRET.ics: a calendar that phones subscribe to; its link is made on /account.

Whoever has the link reads what its account may see of what the link is for; it is of no other use.
"""

from __future__ import annotations

from datetime import UTC, datetime
from functools import partial
from http import HTTPStatus
from math import ceil

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import Connection, Engine

from alerts.news import tidy
from service.calendars import SEASONS, write_blocks
from service.evaluation import as_of_day, evaluate_blocks
from service.reach import find_reach
from service.region import fetch_district_names
from service.settings import Settings
from service.store.accounts import Account, fetch_account
from service.store.blocks import Block
from service.store.engine import reading, writing
from service.store.tokens import Token, find_token
from service.web.access import Known, Visitor, by_secret
from service.web.api.parts import Number
from service.web.own_calendars import (
    ALL,
    BLOCK,
    DISTRICT,
    find_choices,
    find_links,
    make_link,
    renew_link,
    revoke_link,
    write_link,
)
from service.web.pages import Filled, answer_page, answer_while_it_holds, choose_language, redirect
from service.web.problems import Problem
from service.web.seen_blocks import find_blocks, unname_expected


def calendar_page_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the route of the calendars, and those of the page on which their links are made."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/calendar/{secret}.ics", dependencies=[by_secret])
    def show(request: Request, secret: str) -> Response:
        """Return the windows of this season and the last, those to come as perhaps."""
        now = datetime.now(UTC)
        with reading(engine) as connection:
            token, account = _find(connection, secret, now)
            wait_s = request.app.state.rate.wait_s(token.id)
            if wait_s:
                said = "this calendar is asked for too often"
                again = {"Retry-After": f"{ceil(wait_s)}"}
                raise Problem(HTTPStatus.TOO_MANY_REQUESTS, said, headers=again)
            reach = find_reach(connection, account)
            every = find_blocks(connection, reach)
            chosen = [one for one in every if _is_for(token.name, one)]
            if not chosen:
                raise Problem(HTTPStatus.NOT_FOUND, "no block is in this calendar any more")
            days = [as_of_day(one, now) for one in chosen]
            found = evaluate_blocks(connection, chosen, days, SEASONS, settings.sensor_accuracy_c)
            language, names = account.language or "en", {one.name for one in every}
            text = write_blocks(
                *(connection, found, _title(connection, token.name, chosen)),
                *(language, account.unit, partial(unname_expected, names=names, language=language)),
            )
        calendar = Response(text, media_type="text/calendar; charset=utf-8")
        return answer_while_it_holds(request, calendar)

    @routes.get("/calendars")
    def list_links(request: Request, who: Known) -> Response:
        """Show the links of the visitor's calendars."""
        return page(request, who)

    @routes.post("/calendars")
    def make(request: Request, fields: Filled, who: Known) -> Response:
        """Make a link and show it: only now, since no one keeps it."""
        with writing(engine) as connection:
            secret = make_link(connection, who, fields.get("of", ""), datetime.now(UTC))
        return page(request, who, secret)

    @routes.post("/calendars/{number}")
    def change(request: Request, number: Number, fields: Filled, who: Known) -> Response:
        """Let a link hold no longer, or put another one in its place."""
        with writing(engine) as connection:
            change = renew_link if fields.get("say") == "renew" else revoke_link
            secret = change(connection, who, number, datetime.now(UTC))
        return page(request, who, secret) if secret else redirect("/calendars")

    def page(request: Request, who: Visitor, secret: str = "") -> Response:
        language = choose_language(request)
        with reading(engine) as connection:
            choices = find_choices(connection, who.reach, language)
            links = find_links(connection, who)
        return answer_page(
            request,
            "calendars.html",
            link=write_link(request, secret) if secret else "",
            choices=choices,
            links=[(one, dict(choices).get(one.name, one.name)) for one in links],
        )

    return routes


def _find(connection: Connection, secret: str, now: datetime) -> tuple[Token, Account]:
    token = find_token(connection, secret, now)
    if token is not None and token.scope == "calendar" and token.account_id is not None:
        account = fetch_account(connection, token.account_id)
        if account is not None:
            return token, account
    said = "this link does not work any more; make a new one at /calendars"
    raise Problem(HTTPStatus.NOT_FOUND, said)


def _is_for(name: str, block: Block) -> bool:
    if name.startswith(BLOCK):
        return block.id == name.removeprefix(BLOCK)
    return name == ALL or block.district_id == name.removeprefix(DISTRICT)


def _title(connection: Connection, name: str, chosen: list[Block]) -> str:
    """Return the name of a calendar; empty for that of the organisation."""
    if name.startswith(BLOCK):
        return tidy(chosen[0].name)
    return fetch_district_names(connection).get(name.removeprefix(DISTRICT), "")
