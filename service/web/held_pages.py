"""What is held of a person, handed out as a file and forgotten: forms of /account and /people."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import Response
from sqlalchemy import Engine

from service.settings import Settings
from service.web.access import Administrator, Known, administrators
from service.web.own_held import hand_out, take_out
from service.web.pages import Filled, redirect

Called = Annotated[
    str, Query(max_length=254, description="name of one who is told, or address of an account")
]


def held_page_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/account/held.json")
    def hand_out_own(who: Known) -> Response:
        """Return all that is held of you: addresses, consents, messages, what you did."""
        return _answer(hand_out(engine, who.account.email))

    @routes.get("/people/held.json", dependencies=[administrators])
    def hand_out_of(of: Called) -> Response:
        """Return all that is held of a person, to be handed to them."""
        return _answer(hand_out(engine, of))

    @routes.post("/account/forget")
    def forget_own(fields: Filled, who: Known) -> Response:
        """Forget who is signed in."""
        of = who.account.email
        take_out(engine, settings, who, of, fields.get("sure", ""), datetime.now(UTC))
        return redirect("/sign-in")

    @routes.post("/people/forget")
    def forget_one(fields: Filled, who: Administrator) -> Response:
        """Forget one who signs in or is told."""
        of, sure = fields.get("of", ""), fields.get("sure", "")
        take_out(engine, settings, who, of, sure, datetime.now(UTC))
        return redirect("/people")

    return routes


def _answer(held: str) -> Response:
    name = {"Content-Disposition": 'attachment; filename="held.json"'}
    return Response(held, media_type="application/json", headers=name)
