"""/account: what one may see, one's password, and the tokens of one's programs."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus
from typing import get_args

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import Engine

from alerts.words import LANGUAGES
from probes.units import Unit
from service.accounts import Refused, choose_password, sign_in
from service.passwords import LONGEST, SHORTEST, hash_password, is_good_password
from service.store.accounts import set_account
from service.store.engine import reading, writing
from service.store.sharing import fetch_site_names
from service.web.access import Known, Visitor
from service.web.api.parts import Number
from service.web.own_tokens import LONGEST_NAME, ask_person, find_own_tokens, make_token, revoke_own
from service.web.pages import Filled, answer_page, redirect
from service.web.sign_in import find_place, give_session

DAYS = (30, 90, 365)


def account_page_routes(engine: Engine) -> APIRouter:
    """Return the routes of the page."""
    routes = APIRouter(include_in_schema=False)

    def page(request: Request, who: Visitor, told: str = "", secret: str = "") -> Response:
        with reading(engine) as connection:
            names = fetch_site_names(connection)
            tokens = find_own_tokens(connection, who.account.id)
        return answer_page(
            request,
            "account.html",
            HTTPStatus.UNPROCESSABLE_ENTITY if told in ("wrong", "short") else HTTPStatus.OK,
            sites=sorted(names[one] for one in who.reach.site_ids),
            tokens=tokens,
            told=told,
            secret=secret,
            languages=LANGUAGES,
            days=DAYS,
            shortest=SHORTEST,
            longest=LONGEST,
        )

    @routes.get("/account")
    def show(request: Request, who: Known) -> Response:
        """Show the page."""
        return page(request, who)

    @routes.post("/account")
    def change(fields: Filled, who: Known) -> Response:
        """Keep language and unit."""
        language, unit = fields.get("language"), fields.get("unit")
        values = {
            "language": language if language in LANGUAGES else None,
            "unit": unit if unit in get_args(Unit) else who.account.unit,
        }
        with writing(engine) as connection:
            set_account(connection, who.account.id, **values)
        return redirect("/account")

    @routes.post("/account/password")
    def choose(request: Request, fields: Filled, who: Known) -> Response:
        """Keep a new password, and sign out everywhere else."""
        ask_person(who)
        now, email = datetime.now(UTC), who.account.email
        tried = sign_in(engine, email, fields.get("old", ""), find_place(request), now, again=True)
        if isinstance(tried, Refused):
            return page(request, who, "wrong")
        if not is_good_password(fields.get("password", ""), email):
            return page(request, who, "short")
        password_hash = hash_password(fields["password"])
        with writing(engine) as connection:
            secret = choose_password(connection, who.account, password_hash, now)
        answer = redirect("/account")
        give_session(request, answer, secret, email)
        return answer

    @routes.post("/account/tokens")
    def make(request: Request, fields: Filled, who: Known) -> Response:
        """Make a token and show it: only now, since no one keeps it."""
        scope = "write" if fields.get("scope") == "write" else "read"
        days = next((one for one in DAYS if f"{one}" == fields.get("days")), DAYS[0])
        name = fields.get("name", "")[:LONGEST_NAME]
        with writing(engine) as connection:
            secret = make_token(connection, who, scope, days, name, datetime.now(UTC))
        return page(request, who, secret=secret)

    @routes.post("/account/tokens/{token_id}/revoke")
    def revoke(token_id: Number, who: Known) -> Response:
        """Let a token of one's own hold no longer."""
        with writing(engine) as connection:
            revoke_own(connection, who, token_id, datetime.now(UTC))
        return redirect("/account")

    return routes
