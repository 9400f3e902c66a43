"""/people: who signs in and who is told; an administrator invites, changes roles and revokes."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import Connection, Engine, select

from service.accounts import (
    change_places,
    change_role,
    invite,
    is_address,
    mail_link,
    make_link,
    may_mail,
    restore,
    revoke,
)
from service.links import Links
from service.settings import Settings
from service.store.accounts import (
    ROLES,
    Account,
    fetch_account,
    fetch_accounts,
    fetch_places,
    find_account,
    find_role,
    set_places,
)
from service.store.consents import fetch_consents
from service.store.engine import reading, writing
from service.store.recipients import fetch_recipients
from service.store.tables import district, site
from service.web.access import Administrator, Visitor, administrators
from service.web.pages import Fields, Filled, answer_page, redirect
from service.web.problems import Problem

FIELDS = ("name", "email", "role", "recipient", "sites", "districts")


class _WrongError(Exception):
    """What was filled in that cannot be: the name of its field."""


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
            recipients, consents = fetch_recipients(connection), fetch_consents(connection)
            accounts, places = fetch_accounts(connection), fetch_places(connection)
        told = [
            (name, channel, address, one.state if one else "not asked")
            for name in sorted(recipients)
            for channel, address in recipients[name].addresses
            for one in [consents.get((name, channel, address))]
        ]
        base = settings.base_url.rstrip("/") or f"{request.base_url}".rstrip("/")
        return answer_page(
            request,
            "people.html",
            HTTPStatus.UNPROCESSABLE_ENTITY if wrong else HTTPStatus.OK,
            accounts=accounts,
            places=places,
            roles=ROLES,
            told=told,
            recipients=sorted(recipients),
            link=link and base + link,
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
        now = datetime.now(UTC)
        try:
            with writing(engine) as connection:
                account = _invite(connection, who, fields, now)
                link = make_link(connection, links, account, who.account.email, now)
                if may_mail(account, settings):
                    mail_link(connection, settings, account, link, now)
        except _WrongError as error:
            return page(request, wrong=str(error), fields=fields)
        return page(request, link, account)

    @routes.post("/people/{account_id}/link")
    def renew(request: Request, account_id: int, who: Administrator) -> Response:
        """Make a link on which the password is chosen anew."""
        now = datetime.now(UTC)
        with writing(engine) as connection:
            account = _find(connection, account_id)
            link = make_link(connection, links, account, who.account.email, now)
            if may_mail(account, settings):
                mail_link(connection, settings, account, link, now)
        return page(request, link, account)

    @routes.post("/people/{account_id}/role")
    def make_role(account_id: int, fields: Filled, who: Administrator) -> Response:
        """Let someone be of another role."""
        role = find_role(fields.get("role", ""))
        if role is None:
            raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, f"choose one of {', '.join(ROLES)}")
        with writing(engine) as connection:
            account = _find(connection, account_id, who)
            if account.role != role:
                change_role(connection, account, role, who.account.email, datetime.now(UTC))
        return redirect("/people")

    @routes.post("/people/{account_id}/places")
    def place(request: Request, account_id: int, fields: Filled, who: Administrator) -> Response:
        """Let someone see other sites, districts or blocks."""
        try:
            with writing(engine) as connection:
                account = _find(connection, account_id)
                places = _read_places(connection, fields)
                change_places(connection, account, *places, who.account.email, datetime.now(UTC))
        except _WrongError as error:
            return page(request, wrong=str(error))
        return redirect("/people")

    @routes.post("/people/{account_id}/revoke")
    def end(account_id: int, who: Administrator) -> Response:
        """Let someone sign in no more."""
        with writing(engine) as connection:
            account = _find(connection, account_id, who)
            revoke(connection, account, who.account.email, datetime.now(UTC))
        return redirect("/people")

    @routes.post("/people/{account_id}/restore")
    def begin_again(account_id: int, who: Administrator) -> Response:
        """Let someone sign in again."""
        with writing(engine) as connection:
            account = _find(connection, account_id)
            restore(connection, account, who.account.email, datetime.now(UTC))
        return redirect("/people")

    return routes


def _invite(connection: Connection, who: Visitor, fields: Fields, now: datetime) -> Account:
    email = fields.get("email", "").lower()
    if not is_address(email):
        raise _WrongError("email")
    if find_account(connection, email) is not None:
        raise _WrongError("taken")
    role = find_role(fields.get("role", ""))
    if role is None:
        raise _WrongError("role")
    recipient_name, site_ids, district_ids = _read_places(connection, fields)
    name = fields.get("name", "")[:100] or recipient_name or email
    account = invite(connection, who.account.email, email, name, role, now, recipient_name)
    set_places(connection, account.id, site_ids, district_ids)
    return account


def _read_places(connection: Connection, fields: Fields) -> tuple[str | None, list[str], list[str]]:
    """Return who an account is told as, its sites and its districts, as they are filled in."""
    recipient_name = fields.get("recipient") or None
    if recipient_name is not None and recipient_name not in fetch_recipients(connection):
        raise _WrongError("recipient")
    return (
        recipient_name,
        _find_ids(connection, fields.get("sites", ""), site.c.id, "sites"),
        _find_ids(connection, fields.get("districts", ""), district.c.id, "districts"),
    )


def _find_ids(connection: Connection, said: str, column: Any, field: str) -> list[str]:
    ids = re.split(r"[\s,;]+", said.strip()) if said.strip() else []
    if set(ids) - set(connection.scalars(select(column))):
        raise _WrongError(field)
    return ids


def _find(connection: Connection, account_id: int, other_than: Visitor | None = None) -> Account:
    account = fetch_account(connection, account_id)
    if account is None:
        raise Problem(HTTPStatus.NOT_FOUND, "there is no such account")
    if other_than is not None and account.id == other_than.account.id:
        said = "no one does that to themselves: let another administrator do it"
        raise Problem(HTTPStatus.CONFLICT, said)
    return account
