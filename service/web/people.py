"""Who signs in and who is told, as an administrator changes it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from http import HTTPStatus
from typing import Any, NamedTuple

from fastapi import Request
from sqlalchemy import Connection, select

from service.accounts import (
    change_places,
    change_role,
    invite,
    is_address,
    mail_link,
    make_link,
    may_mail,
)
from service.links import Links
from service.settings import Settings
from service.store.accounts import (
    ROLES,
    Account,
    fetch_account,
    find_account,
    find_role,
    set_places,
)
from service.store.consents import State, fetch_consents
from service.store.recipients import fetch_recipients
from service.store.tables import district, site
from service.web.access import Visitor
from service.web.own_tokens import ask_person
from service.web.problems import Problem


class WrongError(Exception):
    """What was filled in that cannot be: the name of its field."""


class Wanted(NamedTuple):
    """Who is to be invited; without a name that of who they are told as, or the address."""

    email: str
    name: str
    role: str


class Places(NamedTuple):
    """Who an account is told as, and the ids of its sites and districts."""

    recipient_name: str | None
    site_ids: tuple[str, ...]
    district_ids: tuple[str, ...]


class Told(NamedTuple):
    """An address of a reader, and whether it wants to be told."""

    name: str
    channel: str
    address: str
    state: State


def find_addresses(connection: Connection) -> list[Told]:
    """Return the addresses of all who are told, by name."""
    recipients, consents = fetch_recipients(connection), fetch_consents(connection)
    return [
        Told(name, channel, address, one.state if one else "not asked")
        for name in sorted(recipients)
        for channel, address in recipients[name].addresses
        for one in [consents.get((name, channel, address))]
    ]


def write_address(request: Request, link: str) -> str:
    """Return the whole address of a link on which a password is chosen."""
    settings: Settings = request.app.state.settings
    base = settings.base_url.rstrip("/") or f"{request.base_url}".rstrip("/")
    return base + link


def invite_one(
    connection: Connection,
    who: Visitor,
    wanted: Wanted,
    places: Places,
    links: Links,
    settings: Settings,
    now: datetime,
) -> tuple[Account, str]:
    """Make an account; return it and its link, which is mailed where it may be. WrongError.

    As with the next two no token does that: who has the link, or the role, has more than it.
    """
    ask_person(who)
    email = wanted.email.lower()
    if not is_address(email):
        raise WrongError("email")
    if find_account(connection, email) is not None:
        raise WrongError("taken")
    role = find_role(wanted.role)
    if role is None:
        raise WrongError("role")
    _check_places(connection, places)
    name = wanted.name[:100] or places.recipient_name or email
    account = invite(connection, who.account.email, email, name, role, now, places.recipient_name)
    set_places(connection, account.id, places.site_ids, places.district_ids)
    return account, renew_link(connection, who, account, links, settings, now)


def renew_link(
    connection: Connection,
    who: Visitor,
    account: Account,
    links: Links,
    settings: Settings,
    now: datetime,
) -> str:
    """Return a link on which a password is chosen anew; it is mailed where it may be."""
    ask_person(who)
    link = make_link(connection, links, account, who.account.email, now)
    if may_mail(account, settings):
        mail_link(connection, settings, account, link, now)
    return link


def give_role(
    connection: Connection, who: Visitor, account_id: int, named: str, now: datetime
) -> None:
    """Let someone be of another role."""
    ask_person(who)
    role = find_role(named)
    if role is None:
        raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, f"choose one of {', '.join(ROLES)}")
    account = find_person(connection, account_id, who)
    if account.role != role:
        change_role(connection, account, role, who.account.email, now)


def give_places(
    connection: Connection, who: Visitor, account_id: int, places: Places, now: datetime
) -> None:
    """Let someone see other sites, districts or blocks. WrongError."""
    account = find_person(connection, account_id)
    _check_places(connection, places)
    sites, districts = [*places.site_ids], [*places.district_ids]
    change_places(
        connection, account, places.recipient_name, sites, districts, who.account.email, now
    )


def find_person(
    connection: Connection, account_id: int, other_than: Visitor | None = None
) -> Account:
    """Return an account; it is refused where it is one's own and must not be."""
    account = fetch_account(connection, account_id)
    if account is None:
        raise Problem(HTTPStatus.NOT_FOUND, "there is no such account")
    if other_than is not None and account.id == other_than.account.id:
        said = "no one does that to themselves: let another administrator do it"
        raise Problem(HTTPStatus.CONFLICT, said)
    return account


def _check_places(connection: Connection, places: Places) -> None:
    name = places.recipient_name
    if name is not None and name not in fetch_recipients(connection):
        raise WrongError("recipient")
    _check_ids(connection, places.site_ids, site.c.id, "sites")
    _check_ids(connection, places.district_ids, district.c.id, "districts")


def _check_ids(connection: Connection, ids: Iterable[str], column: Any, field: str) -> None:
    if set(ids) - set(connection.scalars(select(column))):
        raise WrongError(field)
