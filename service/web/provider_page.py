"""/sign-in/provider: to the provider that is set up, and back from it."""

from __future__ import annotations

import hmac
import logging
from dataclasses import asdict
from datetime import UTC, datetime
from urllib.parse import parse_qsl, urlencode

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import Engine

from service.accounts import Refused, count_place, sign_in_as_known
from service.openid import Begun, Provider, ProviderError
from service.settings import Settings
from service.web.access import anyone, by_secret, is_secure, name_cookie
from service.web.pages import redirect
from service.web.sign_in import HOME, answer_sign_in, enter_page, find_place

WAITS_S = 600
"""How long someone may be with the provider."""
LOG = logging.getLogger(__name__)


def provider_page_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes; none where no provider is set up."""
    routes = APIRouter(include_in_schema=False)
    if not settings.oidc_issuer:
        return routes
    provider = Provider(settings)

    @routes.get("/sign-in/provider", dependencies=[anyone])
    def leave(request: Request, next: str = HOME) -> Response:  # noqa: A002 (as in the address)
        """Send a browser to the provider."""
        try:
            url, begun = provider.begin()
        except ProviderError as error:
            return _refuse(request, error)
        answer = redirect(url)
        answer.set_cookie(
            _name_cookie(request),
            urlencode(asdict(begun) | {"next": next[:1000]}),
            max_age=WAITS_S,
            secure=is_secure(request),
            httponly=True,
            samesite="lax",
        )
        return answer

    @routes.get("/sign-in/provider/back", dependencies=[by_secret])
    def come_back(request: Request, state: str = "", code: str = "", error: str = "") -> Response:
        """Sign in whom the provider vouches for."""
        now, place = datetime.now(UTC), find_place(request)
        refused = count_place(engine, place, now)
        if refused is not None:
            return answer_sign_in(request, {}, refused)
        begun, path = _read_cookie(request)
        try:
            is_answer = begun and hmac.compare_digest(state.encode(), begun.state.encode())
            if begun is None or not is_answer or not code:
                raise ProviderError(f"it answers {error or 'what was not asked'!r}")
            email = provider.find_email(code, begun)
        except ProviderError as fault:
            return _refuse(request, fault)
        secret = sign_in_as_known(engine, email, provider.issuer, place, now)
        if isinstance(secret, Refused):
            answer = answer_sign_in(request, {}, secret)
        else:
            answer = enter_page(request, secret, email, path)
        answer.delete_cookie(_name_cookie(request), secure=is_secure(request))
        return answer

    return routes


def _refuse(request: Request, error: ProviderError) -> Response:
    LOG.warning("sign-in by the provider: %s", error)
    return answer_sign_in(request, {}, Refused(why="provider"))


def _read_cookie(request: Request) -> tuple[Begun | None, str]:
    """Return what a browser has kept, and the page that it wants to see."""
    kept = dict(parse_qsl(request.cookies.get(_name_cookie(request), "")))
    path = kept.pop("next", HOME)
    return (Begun(**kept) if kept.keys() == Begun.__dataclass_fields__.keys() else None), path


def _name_cookie(request: Request) -> str:
    return f"{name_cookie(is_secure(request))}-provider"
