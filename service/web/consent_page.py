"""/told/TOKEN: a page on which an address is confirmed, stopped, or started again.

Looking at it changes nothing: programs that look through mails follow every link in them. A POST
without login stops, as mail programs send it [RFC-8058].
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from http import HTTPStatus
from math import ceil
from urllib.parse import parse_qs

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import Connection, Engine, select

from alerts.consent import tell_standing, word_buttons
from service.links import Links, find_numbers
from service.settings import Settings
from service.store.consents import Consent, confirm, fetch_consent, stop
from service.store.engine import reading, writing
from service.store.tables import organisation, recipient
from service.web.access import by_secret
from service.web.bearer import Door, RateLimit
from service.web.pages import answer_dead_link, answer_page
from service.web.problems import Problem
from service.web.writing import run_writing

PER_MIN = 20
"""How often the page of one address may be used in a minute."""
MOST_FIELDS = 20


def consent_page_routes(engine: Engine, settings: Settings, door: Door) -> APIRouter:
    """Return the routes of the page."""
    routes = APIRouter(include_in_schema=False, dependencies=[by_secret])
    links, limit = Links(settings), limit_rate()

    def find(connection: Connection, token: str) -> Consent | None:
        numbers = find_numbers(token)
        consent = fetch_consent(connection, numbers[0]) if len(numbers) == 1 else None
        return consent if consent and links.holds(token, consent) else None

    @routes.get("/told/{token}")
    def show(request: Request, token: str) -> Response:
        """Show how it stands."""
        with reading(engine) as connection:
            consent = find(connection, token)
            return _page(request, connection, consent) if consent else answer_dead_link(request)

    @routes.post("/told/{token}")
    async def answer(request: Request, token: str) -> Response:
        """Take a reader's yes or stop."""
        body = await door.read_body(request)
        return await run_writing(take, request, token, body)

    def take(request: Request, token: str, body: bytes) -> Response:
        now = datetime.now(UTC)
        with writing(engine) as connection:
            consent = find(connection, token)
            if consent is None:
                return answer_dead_link(request)
            limit(consent.id)
            said = read_say(body)
            # of two forms [RFC-8058] 3.1 allows, one is multipart
            if b"List-Unsubscribe" in body and b"One-Click" in body:
                stop(connection, consent, "one click in a mail program", now)
            elif said == "stop":
                stop(connection, consent, "by the link", now)
            elif said == "yes":
                confirm(connection, consent, consent.recipient_name, "by the link", now)
            stands = fetch_consent(connection, consent.id)
            assert stands is not None  # noqa: S101 (it is never deleted)
            return _page(request, connection, stands)

    return routes


def read_say(body: bytes) -> str:
    """Return what a form says, or refuse it."""
    try:
        fields = parse_qs(body.decode("utf-8", "replace"), max_num_fields=MOST_FIELDS)
    except ValueError:
        said = f"this form cannot be read: more than {MOST_FIELDS} fields"
        raise Problem(HTTPStatus.BAD_REQUEST, said) from None
    return fields.get("say", [""])[0]


def limit_rate() -> Callable[[int], None]:
    """Return what refuses requests for a consent that come too fast."""
    rate = RateLimit(PER_MIN)

    def limit(number: int) -> None:
        wait_s = rate.wait_s(number)
        if wait_s:
            raise Problem(
                HTTPStatus.TOO_MANY_REQUESTS,
                "too many requests; try again in a while",
                headers={"Retry-After": f"{ceil(wait_s)}"},
            )

    return limit


def find_language(connection: Connection, consent: Consent) -> str:
    """Return the language of whose consent it is."""
    of_reader = recipient.c.name == consent.recipient_name
    return connection.execute(select(recipient.c.language).where(of_reader)).scalar_one()


def _page(request: Request, connection: Connection, consent: Consent) -> Response:
    language = find_language(connection, consent)
    name = connection.scalar(select(organisation.c.name)) or "Digseason"
    return answer_page(
        request,
        "say.html",
        language=language,
        title=name,
        stands=tell_standing(consent.state, consent.address, name, language),
        buttons=word_buttons(consent.state, language),
        quiet={"stop"},
    )
