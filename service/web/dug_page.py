"""/dug/TOKEN: a page on which a reader says that they have dug, or takes it back.

Looking at it changes nothing.
"""

from __future__ import annotations

from datetime import UTC, datetime

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import Connection, Engine

from alerts.dug import tell_dug, word_dug_button
from service.links import Links, find_numbers
from service.settings import Settings
from service.store.consents import Consent, fetch_consent
from service.store.dug import Window, fetch_dug, fetch_window, say_dug, take_dug_back
from service.store.engine import reading, writing
from service.web.access import by_secret
from service.web.bearer import Door
from service.web.consent_page import find_language, limit_rate, read_say
from service.web.pages import answer_dead_link, answer_page
from service.web.writing import run_writing


def dug_page_routes(engine: Engine, settings: Settings, door: Door) -> APIRouter:
    """Return the routes of the page."""
    routes = APIRouter(include_in_schema=False, dependencies=[by_secret])
    links, limit = Links(settings), limit_rate()

    def find(connection: Connection, token: str) -> tuple[Consent, Window, str] | None:
        numbers = find_numbers(token)
        if len(numbers) != 2:
            return None
        consent = fetch_consent(connection, numbers[0])
        of_notice = fetch_window(connection, numbers[1])
        if not consent or not of_notice or not links.holds(token, consent, numbers[1]):
            return None
        return consent, *of_notice

    @routes.get("/dug/{token}")
    def show(request: Request, token: str) -> Response:
        """Show how it stands."""
        with reading(engine) as connection:
            found = find(connection, token)
            return _page(request, connection, *found) if found else answer_dead_link(request)

    @routes.post("/dug/{token}")
    async def answer(request: Request, token: str) -> Response:
        """Take a reader's word."""
        body = await door.read_body(request)
        return await run_writing(take, request, token, body)

    def take(request: Request, token: str, body: bytes) -> Response:
        now = datetime.now(UTC)
        with writing(engine) as connection:
            found = find(connection, token)
            if found is None:
                return answer_dead_link(request)
            consent, window, _ = found
            limit(consent.id)
            said = read_say(body)
            if said == "dug":
                say_dug(connection, consent.recipient_name, window, "by the link", now)
            elif said == "back":
                take_dug_back(connection, consent.recipient_name, window, now)
            return _page(request, connection, *found)

    return routes


def _page(
    request: Request, connection: Connection, consent: Consent, window: Window, block_name: str
) -> Response:
    language = find_language(connection, consent)
    is_dug = window in fetch_dug(connection, consent.recipient_name)
    return answer_page(
        request,
        "say.html",
        language=language,
        title=block_name,
        stands=tell_dug(block_name, is_dug, language),
        buttons={"back" if is_dug else "dug": word_dug_button(is_dug, language)},
        quiet=(),
    )
