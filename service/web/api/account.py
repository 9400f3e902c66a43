"""/api/account and /api/tokens: your account, and the tokens of your programs."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus
from typing import Annotated, Literal

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response
from pydantic import AfterValidator, BaseModel, ConfigDict, Field
from sqlalchemy import Engine

from alerts.words import LANGUAGES
from probes.units import Unit
from service.store.accounts import Role, set_account
from service.store.engine import reading, writing
from service.store.tokens import Scope, Token
from service.web.access import Known, Visitor
from service.web.api.forms import Record
from service.web.api.parts import DONE, LISTED, ONE, Number, Part, answer_one
from service.web.own_tokens import LONGEST_NAME, find_own_tokens, make_token, revoke_own
from service.web.problems import Problem
from service.web.writing import run_writing


def _check_language(code: str | None) -> str | None:
    if code is not None and code not in LANGUAGES:
        raise ValueError(f"choose one of {', '.join(LANGUAGES)}")
    return code


Language = Annotated[
    str | None, AfterValidator(_check_language), Field(description="null: what a browser prefers")
]
Words = Annotated[Unit, Field(description="of temperatures in words; numbers are what they say")]


class AccountRecord(Record):
    """Your account."""

    id: int
    email: str
    name: str
    role: Role
    told_as: Annotated[str | None, Field(description="who you are told as; null: of nothing")]
    language: str | None
    unit: Words
    sites: Annotated[list[str], Field(description="ids of those that you see")]


class Wanted(BaseModel):
    """Language and unit of what you read."""

    model_config = ConfigDict(extra="forbid")

    language: Language = None
    unit: Words


class TokenRecord(Record):
    """A token of yours, without its secret."""

    id: int
    scope: Scope
    name: str
    made_at: Annotated[datetime, Field(description="[UTC]")]
    expires_at: Annotated[datetime | None, Field(description="[UTC]")]
    last_used_at: Annotated[datetime | None, Field(description="to the hour [UTC]")]


class WantedToken(BaseModel):
    """What a token is to do, and how long."""

    model_config = ConfigDict(extra="forbid")

    scope: Literal["read", "write"] = "read"
    days: Annotated[int, Field(ge=1, le=365)] = 30
    name: Annotated[str, Field(max_length=LONGEST_NAME)] = ""


class MadeToken(BaseModel):
    """The secret of a new token: only now, since no one keeps it."""

    secret: str


def account_routes(engine: Engine) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["account"])

    @routes.get("/account", response_model=AccountRecord, responses=ONE)
    def show(request: Request, who: Known) -> Response:
        """Return your account, and which sites you see."""
        account = who.account
        record = AccountRecord(
            id=account.id,
            email=account.email,
            name=account.name,
            role=account.role,
            told_as=account.recipient_name,
            language=account.language,
            unit=account.unit,
            sites=sorted(who.reach.site_ids),
        )
        return answer_one(request, record)

    @routes.post("/account", status_code=204, responses=DONE)
    async def change(wanted: Wanted, who: Known) -> None:
        """Choose language and unit."""

        def keep() -> None:
            with writing(engine) as connection:
                set_account(connection, who.account.id, **wanted.model_dump())

        await run_writing(keep)

    @routes.get("/tokens", response_model=list[TokenRecord], responses=LISTED)
    def list_tokens(who: Known, part: Part) -> Response:
        """Return your tokens that are not revoked."""
        after = part.find_number() or 0
        with reading(engine) as connection:
            later = [one for one in find_own_tokens(connection, who.account.id) if one.id > after]
        tokens, next_key = part.cut(later, lambda one: one.id)
        return part.answer([_tell(one) for one in tokens], TokenRecord, next_key)

    @routes.post("/tokens", response_model=MadeToken, responses=DONE)
    async def make(wanted: WantedToken, who: Known) -> MadeToken:
        """Make a token. Only who is signed in may: no token makes others."""

        def keep() -> MadeToken:
            now, asked = datetime.now(UTC), wanted
            with writing(engine) as connection:
                secret = make_token(connection, who, asked.scope, asked.days, asked.name, now)
            return MadeToken(secret=secret)

        return await run_writing(keep)

    @routes.post("/tokens/{token_id}/revoke", status_code=204, responses=DONE)
    async def revoke(
        token_id: Annotated[Number, Path(description="number of a token")], who: Known
    ) -> None:
        """Let a token of yours hold no longer."""
        await run_writing(_revoke, token_id, who)

    def _revoke(token_id: int, who: Visitor) -> None:
        with writing(engine) as connection:
            if not revoke_own(connection, who, token_id, datetime.now(UTC)):
                said = "no valid token of yours has this number; /api/tokens lists them"
                raise Problem(HTTPStatus.NOT_FOUND, said)

    return routes


def _tell(one: Token) -> TokenRecord:
    return TokenRecord(**{name: getattr(one, name) for name in TokenRecord.model_fields})
