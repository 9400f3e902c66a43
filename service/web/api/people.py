"""/api/accounts and /api/addresses: who signs in, and who is told."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from http import HTTPStatus
from typing import Annotated, Any

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import Connection, Engine

from service.accounts import may_mail, restore, revoke
from service.links import Links
from service.settings import Settings
from service.store.accounts import Account, Role, fetch_accounts, fetch_places
from service.store.consents import State
from service.store.engine import reading, writing
from service.web.access import Administrator, Known, administrators
from service.web.api.forms import Record
from service.web.api.parts import DONE, LISTED, Number, Part
from service.web.own_held import take_out
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
from service.web.problems import Problem, describe_refusals
from service.web.writing import run_writing

AccountId = Annotated[Number, Path(description="number of an account")]
WRONG = {
    "email": "email: this is no address",
    "taken": "email: this address has an account already",
    "role": "role: there is no such role",
    "recipient": "told_as: nobody of this name is told",
    "sites": "sites: there is no site of one of these ids",
    "districts": "districts: there is no district of one of these ids",
}
FORGOTTEN = {**DONE, **describe_refusals(CONFLICT="no administrator would be left")}


class PersonRecord(Record):
    """One who signs in."""

    id: int
    email: str
    name: str
    role: Role
    told_as: Annotated[str | None, Field(description="null: they are told of nothing")]
    sites: Annotated[list[str], Field(description="ids of those that are theirs")]
    districts: Annotated[list[str], Field(description="ids; none for a coordinator of all")]
    has_password: Annotated[bool, Field(description="false: they were invited, and chose none yet")]
    signed_in_at: Annotated[datetime | None, Field(description="last [UTC]")]
    revoked_at: Annotated[datetime | None, Field(description="null: they may sign in [UTC]")]


class AddressRecord(Record):
    """An address to which is told; it says itself by the link of its mails that it wants that."""

    place: Annotated[int, Field(description="in the list, from 1")]
    told_as: str
    channel: str
    address: str
    state: State


class SeenPlaces(BaseModel):
    """What an account sees."""

    model_config = ConfigDict(extra="forbid")

    told_as: str | None = None
    sites: Annotated[list[str], Field(max_length=10_000)] = []
    districts: Annotated[list[str], Field(max_length=10_000)] = []

    def write(self) -> Places:
        """Return them as they are kept."""
        return Places(self.told_as, tuple(self.sites), tuple(self.districts))


class Invited(SeenPlaces):
    """Who is to sign in."""

    email: Annotated[str, Field(max_length=254)]
    name: Annotated[str, Field(max_length=100)] = ""
    role: Role


class SaidRole(BaseModel):
    """Of which role someone is."""

    model_config = ConfigDict(extra="forbid")

    role: Role


class Forgotten(BaseModel):
    """Who is to be forgotten: the name of one who is told, or the address of an account."""

    model_config = ConfigDict(extra="forbid")

    of: Annotated[str, Field(max_length=254)]
    sure: Annotated[str, Field(max_length=254, description="the same once more")]


class LinkAnswer(BaseModel):
    """The link on which a password is chosen: hand it over, where it is not mailed."""

    id: Annotated[int, Field(description="of the account")]
    link: str
    is_mailed: bool


def people_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["people"])
    links = Links(settings)
    other = {**DONE, **describe_refusals(CONFLICT="no one does that to themselves")}

    @routes.get(
        "/accounts",
        response_model=list[PersonRecord],
        responses=LISTED,
        dependencies=[administrators],
    )
    def list_accounts(part: Part) -> Response:
        """Return who signs in, and who did."""
        after = part.find_number() or 0
        with reading(engine) as connection:
            every = [one for one in fetch_accounts(connection) if one.id > after]
            places = fetch_places(connection)
        every.sort(key=lambda one: one.id)
        accounts, next_key = part.cut(every, lambda one: one.id)
        nowhere: tuple[list[str], list[str]] = ([], [])
        records = [_tell(one, *places.get(one.id, nowhere)) for one in accounts]
        return part.answer(records, PersonRecord, next_key)

    @routes.get(
        "/addresses",
        response_model=list[AddressRecord],
        responses=LISTED,
        dependencies=[administrators],
    )
    def list_addresses(part: Part) -> Response:
        """Return the addresses of all who are told, and whether they want to be, by name."""
        after = part.find_number() or 0
        with reading(engine) as connection:
            told = find_addresses(connection)
        every = [
            AddressRecord(
                place=place,
                told_as=one.name,
                channel=one.channel,
                address=one.address,
                state=one.state,
            )
            for place, one in enumerate(told, 1)
        ]
        records, next_key = part.cut(every[after:], lambda one: one.place)
        return part.answer(records, AddressRecord, next_key)

    @routes.post("/accounts", response_model=LinkAnswer, responses=DONE)
    async def add(request: Request, invited: Invited, who: Administrator) -> LinkAnswer:
        """Make an account and its link. Only who is signed in may: who has the link signs in."""
        wanted = Wanted(invited.email, invited.name, invited.role)

        def keep(connection: Connection, now: datetime) -> tuple[Account, str]:
            return invite_one(connection, who, wanted, invited.write(), links, settings, now)

        return _link(request, *await run_writing(change, keep))

    @routes.post("/accounts/{account_id}/link", response_model=LinkAnswer, responses=DONE)
    async def renew(request: Request, account_id: AccountId, who: Administrator) -> LinkAnswer:
        """Make a link on which the password is chosen anew. Only who is signed in may."""

        def keep(connection: Connection, now: datetime) -> tuple[Account, str]:
            account = find_person(connection, account_id)
            return account, renew_link(connection, who, account, links, settings, now)

        return _link(request, *await run_writing(change, keep))

    @routes.post("/accounts/{account_id}/role", status_code=204, responses=other)
    async def make_role(account_id: AccountId, said: SaidRole, who: Administrator) -> None:
        """Let someone be of another role. Only who is signed in may."""

        def keep(connection: Connection, now: datetime) -> None:
            give_role(connection, who, account_id, said.role, now)

        await run_writing(change, keep)

    @routes.post("/accounts/{account_id}/places", status_code=204, responses=DONE)
    async def place(account_id: AccountId, seen: SeenPlaces, who: Administrator) -> None:
        """Let someone see other sites, districts or blocks, instead of those before."""

        def keep(connection: Connection, now: datetime) -> None:
            give_places(connection, who, account_id, seen.write(), now)

        await run_writing(change, keep)

    @routes.post("/accounts/{account_id}/revoke", status_code=204, responses=other)
    async def end(account_id: AccountId, who: Administrator) -> None:
        """Let someone sign in no more, and their tokens not hold."""

        def keep(connection: Connection, now: datetime) -> None:
            account = find_person(connection, account_id, who)
            revoke(connection, account, who.account.email, now)

        await run_writing(change, keep)

    @routes.post("/accounts/{account_id}/restore", status_code=204, responses=DONE)
    async def begin_again(account_id: AccountId, who: Administrator) -> None:
        """Let someone sign in again."""

        def keep(connection: Connection, now: datetime) -> None:
            account = find_person(connection, account_id)
            restore(connection, account, who.account.email, now)

        await run_writing(change, keep)

    @routes.post("/people/forget", status_code=204, responses=FORGOTTEN)
    def forget_one(forgotten: Forgotten, who: Known) -> None:
        """Take a person out of the store for good; what they did stays, without their name.

        Only who is signed in may: an administrator, or the person themselves.
        """
        if who.account.role != "administrator" and forgotten.of != who.account.email:
            raise Problem(HTTPStatus.FORBIDDEN, f"this is not for a {who.account.role}")
        take_out(engine, settings, who, forgotten.of, forgotten.sure, datetime.now(UTC))

    def change(keep: Callable[[Connection, datetime], Any]) -> Any:
        try:
            with writing(engine) as connection:
                return keep(connection, datetime.now(UTC))
        except WrongError as error:
            raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, WRONG[str(error)]) from None

    def _link(request: Request, account: Account, link: str) -> LinkAnswer:
        is_mailed = may_mail(account, settings)
        return LinkAnswer(id=account.id, link=write_address(request, link), is_mailed=is_mailed)

    return routes


def _tell(one: Account, sites: list[str], districts: list[str]) -> PersonRecord:
    return PersonRecord(
        id=one.id,
        email=one.email,
        name=one.name,
        role=one.role,
        told_as=one.recipient_name,
        sites=sites,
        districts=districts,
        has_password=bool(one.password_hash),
        signed_in_at=one.signed_in_at,
        revoked_at=one.revoked_at,
    )
