"""/people: who signs in and who is told; an administrator invites, changes roles and revokes."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from http import HTTPStatus

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import Engine

from service.accounts import (
    may_mail,
    restore,
    revoke,
)
from service.links import Links
from service.settings import Settings
from service.store.accounts import (
    ROLES,
    Account,
    fetch_accounts,
    fetch_places,
)
from service.store.engine import reading, writing
from service.store.recipients import fetch_recipients
from service.web.access import Administrator, administrators
from service.web.api.parts import Number
from service.web.pages import Fields, Filled, answer_page, redirect
from service.web.people import (
    Places,
    Wanted,
    WrongError,
    find_addresses,
    find_person,
    give_places,
    give_role,
    invite_one,
    renew_link,
    write_address,
)

FIELDS = ("name", "email", "role", "recipient", "sites", "districts")


def people_page_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes of the page."""
    routes = APIRouter(include_in_schema=False)
    links = Links(settings)

    def page(
        request: Request,
        link: str = "",
        of: Account | None = None,
        wrong: str = "",
        fields: Fields | None = None,
    ) -> Response:
        with reading(engine) as connection:
            told, recipients = find_addresses(connection), fetch_recipients(connection)
            accounts, places = fetch_accounts(connection), fetch_places(connection)
        return answer_page(
            request,
            "people.html",
            HTTPStatus.UNPROCESSABLE_ENTITY if wrong else HTTPStatus.OK,
            accounts=accounts,
            places=places,
            roles=ROLES,
            told=[(one.name, one.channel, one.address, one.state) for one in told],
            recipients=sorted(recipients),
            link=link and write_address(request, link),
            of=of,
            is_mailed=of is not None and may_mail(of, settings),
            wrong=wrong,
            fields=dict.fromkeys(FIELDS, "") | (fields or {}),
        )

    @routes.get("/people", dependencies=[administrators])
    def show(request: Request) -> Response:
        """Show the page."""
        return page(request)

    @routes.post("/people")
    def add(request: Request, fields: Filled, who: Administrator) -> Response:
        """Make an account, and show the link that is to be handed over, or mail it."""
        try:
            with writing(engine) as connection:
                wanted = Wanted(
                    fields.get("email", ""), fields.get("name", ""), fields.get("role", "")
                )
                places = _read_places(fields)
                account, link = invite_one(
                    connection, who, wanted, places, links, settings, datetime.now(UTC)
                )
        except WrongError as error:
            return page(request, wrong=str(error), fields=fields)
        return page(request, link, account)

    @routes.post("/people/{account_id}/link")
    def renew(request: Request, account_id: Number, who: Administrator) -> Response:
        """Make a link on which the password is chosen anew."""
        with writing(engine) as connection:
            account = find_person(connection, account_id)
            link = renew_link(connection, who, account, links, settings, datetime.now(UTC))
        return page(request, link, account)

    @routes.post("/people/{account_id}/role")
    def make_role(account_id: Number, fields: Filled, who: Administrator) -> Response:
        """Let someone be of another role."""
        with writing(engine) as connection:
            give_role(connection, who, account_id, fields.get("role", ""), datetime.now(UTC))
        return redirect("/people")

    @routes.post("/people/{account_id}/places")
    def place(request: Request, account_id: Number, fields: Filled, who: Administrator) -> Response:
        """Let someone see other sites, districts or blocks."""
        try:
            with writing(engine) as connection:
                places = _read_places(fields)
                give_places(connection, who, account_id, places, datetime.now(UTC))
        except WrongError as error:
            return page(request, wrong=str(error))
        return redirect("/people")

    @routes.post("/people/{account_id}/revoke")
    def end(account_id: Number, who: Administrator) -> Response:
        """Let someone sign in no more."""
        with writing(engine) as connection:
            account = find_person(connection, account_id, who)
            revoke(connection, account, who.account.email, datetime.now(UTC))
        return redirect("/people")

    @routes.post("/people/{account_id}/restore")
    def begin_again(account_id: Number, who: Administrator) -> Response:
        """Let someone sign in again."""
        with writing(engine) as connection:
            account = find_person(connection, account_id)
            restore(connection, account, who.account.email, datetime.now(UTC))
        return redirect("/people")

    return routes


def _read_places(fields: Fields) -> Places:
    """Return what an account sees, as it is filled in."""

    def ids(said: str) -> tuple[str, ...]:
        return tuple(re.split(r"[\s,;]+", said.strip())) if said.strip() else ()

    return Places(
        fields.get("recipient") or None,
        ids(fields.get("sites", "")),
        ids(fields.get("districts", "")),
    )
