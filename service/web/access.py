"""Who may use a route: each route says so, and none is served that does not.

A person is known by the cookie of a session, a program by the token of an account. What a person
sends must hold the token of their session against requests that other sites forge.
"""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cached_property
from http import HTTPStatus
from math import ceil
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.routing import APIRoute
from sqlalchemy import Connection, Engine

from service.reach import Reach, find_reach
from service.settings import Settings
from service.store.accounts import ROLES, Account, Role, fetch_account, find_session, mark_seen
from service.store.audit import note_deed
from service.store.busy import StoreBusyError
from service.store.engine import reading, with_scant_patience, writing
from service.store.tokens import find_token, mark_used
from service.web.bearer import RateLimit
from service.web.pages import read_fields
from service.web.problems import Problem, describe_refusals

CHANGES_NOTHING = ("GET", "HEAD")
TOKEN_PER_MIN = 300
"""How often a token of an account may come in a minute, to each process that serves."""
LONGEST_WHY = 300
"""How long the reason may be that goes with a deed."""
CSRF_FIELD, CSRF_HEADER, CSRF_LENGTH = "csrf", "X-CSRF-Token", 16


@dataclass(frozen=True)
class Visitor:
    """Who uses a route, and by what.

    secret : of the session; None: it is a program with a token
    roles_of : who may open a page, by its path
    """

    engine: Engine = field(repr=False)
    account: Account
    secret: str | None = field(default=None, repr=False)
    roles_of: dict[str, frozenset[Role]] = field(default_factory=dict, repr=False)

    @cached_property
    def reach(self) -> Reach:
        """What they may see; asked for once a request."""
        with reading(self.engine) as connection:
            return find_reach(connection, self.account)

    def write_csrf(self, address: str) -> str:
        """Return what a form of theirs must hold, on the page at an address.

        Each address has another, so that the length of packed pages does not give it away.
        """
        return self._sign(hashlib.sha256(address.encode()).hexdigest()[:CSRF_LENGTH])

    def holds_csrf(self, given: str) -> bool:
        """Whether a form is of theirs."""
        return hmac.compare_digest(given.encode(), self._sign(given[:CSRF_LENGTH]).encode())

    def _sign(self, page: str) -> str:
        key, said = (self.secret or "").encode(), f"csrf {page}".encode()
        return page + hmac.digest(key, said, "sha256").hex()

    @cached_property
    def pages(self) -> frozenset[str]:
        """The paths of the pages for their role."""
        return frozenset(
            path for path, roles in self.roles_of.items() if self.account.role in roles
        )

    def note(self, connection: Connection, what: str, about: str, now: datetime) -> None:
        """Keep what they do, in the transaction in which it is done."""
        note_deed(connection, self.account.email, what, about, now)


class Rule:
    """Lets some in, and others not."""


class Anyone(Rule):
    """Lets anyone in: the route tells nothing of anyone."""

    def __call__(self) -> None:
        """Let in."""


class BySecret(Rule):
    """Lets anyone in: the route itself asks for a secret, in its address or its headers."""

    def __call__(self) -> None:
        """Let in."""


class ByRole(Rule):
    """Lets accounts of some roles in, and gives the route its `Visitor`."""

    def __init__(self, *roles: Role) -> None:
        self.roles = frozenset(roles)

    async def __call__(self, request: Request) -> Visitor:
        """Return who it is, or refuse."""
        visitor = await run_in_threadpool(_find_visitor, request)
        request.state.visitor = visitor
        if visitor.account.role not in self.roles:
            raise Problem(HTTPStatus.FORBIDDEN, f"this is not for a {visitor.account.role}")
        if request.method not in CHANGES_NOTHING and visitor.secret is not None:
            given = request.headers.get(CSRF_HEADER)
            if given is None:
                given = (await read_fields(request)).get(CSRF_FIELD, "")
            if not visitor.holds_csrf(given):
                await request.close()
                said = "this form is of another session; open the page again"
                raise Problem(HTTPStatus.FORBIDDEN, said)
        return visitor


anyone = Depends(Anyone())
by_secret = Depends(BySecret())
known = Depends(ByRole(*ROLES))
growers = Depends(ByRole("grower"))
owners = Depends(ByRole("grower", "administrator"))
planners = Depends(ByRole("grower", "coordinator", "administrator"))
coordinators = Depends(ByRole("coordinator", "administrator"))
administrators = Depends(ByRole("administrator"))
"""What a route has among its `dependencies`."""

REFUSALS = describe_refusals(
    UNAUTHORIZED="no valid token",
    TOO_MANY_REQUESTS="this token comes too often; Retry-After says when it may again",
    FORBIDDEN="the token is of another scope, or its account of another role",
    NOT_FOUND="there is no such thing, or it is not yours to see",
    UNPROCESSABLE_ENTITY="what the address says is not of this form",
)
"""The `responses` of a route of the API that asks for an account."""

Known = Annotated[Visitor, known]
Grower = Annotated[Visitor, growers]
Owner = Annotated[Visitor, owners]
"""Who speaks for what they may see: a grower, or an administrator for all."""
Planner = Annotated[Visitor, planners]
"""Who may know where a block is weak, within their reach."""
Coordinator = Annotated[Visitor, coordinators]
Administrator = Annotated[Visitor, administrators]
"""The type of a route's parameter `who`, where it needs to know."""


def name_cookie(is_secure: bool) -> str:
    """Return the name of the cookie; browsers take the first only over TLS, and for one host."""
    return "__Host-digseason" if is_secure else "digseason"


def is_secure(request: Request) -> bool:
    """Whether browsers reach us by TLS, through another server where there is one."""
    settings: Settings = request.app.state.settings
    return request.url.scheme == "https" or settings.base_url.startswith("https:")


def find_rules(route: APIRoute) -> list[Rule]:
    """Return the rules of a route."""
    calls = (one.call for one in route.dependant.dependencies)
    return [one for one in calls if isinstance(one, Rule)]


def check_rules(routers: Iterable[APIRouter]) -> dict[str, frozenset[Role]]:
    """Refuse to serve routes that do not say, each once, who may use them; return the roles that
    may open each page.
    """
    roles_of: dict[str, frozenset[Role]] = {}
    for route in (route for router in routers for route in router.routes):
        rules = find_rules(route) if isinstance(route, APIRoute) else []
        if len(rules) != 1 or not isinstance(route, APIRoute):
            raise AssertionError(f"{route} says {len(rules)} times who may use it")
        if isinstance(rules[0], ByRole) and "GET" in (route.methods or ()):
            roles_of[route.path] = rules[0].roles
    return roles_of


def _find_visitor(request: Request) -> Visitor:
    """Return who a request is of."""
    engine: Engine = request.app.state.engine
    now = datetime.now(UTC)
    scheme, _, secret = request.headers.get("authorization", "").partition(" ")
    if scheme.lower() == "bearer":
        return Visitor(engine, _find_by_token(request, engine, secret.strip(), now))
    secret = request.cookies.get(name_cookie(is_secure(request)), "")
    with reading(engine) as connection:
        found = find_session(connection, secret, now) if secret else None
    if found is None:
        raise _unknown()
    account, is_to_mark = found
    if is_to_mark:
        _mark(engine, mark_seen, secret, now)
    return Visitor(engine, account, secret, request.app.state.roles_of)


def _find_by_token(request: Request, engine: Engine, secret: str, now: datetime) -> Account:
    rate: RateLimit = request.app.state.rate
    with reading(engine) as connection:
        token = find_token(connection, secret, now)
        account = (
            fetch_account(connection, token.account_id) if token and token.account_id else None
        )
    if token is None:
        raise _unknown()
    if token.scope == "metrics":
        raise Problem(HTTPStatus.FORBIDDEN, "this token reads /metrics, and is of no other use")
    if account is None:
        raise Problem(HTTPStatus.FORBIDDEN, "this token is of a logger, which may only push")
    if token.scope == "calendar":
        raise Problem(HTTPStatus.FORBIDDEN, "this token is of a calendar, and of no other use")
    wait_s = rate.wait_s(token.id)
    if wait_s:
        raise Problem(
            HTTPStatus.TOO_MANY_REQUESTS,
            "too many requests with this token; ask for more at once, or later",
            headers={"Retry-After": f"{ceil(wait_s)}"},
        )
    if token.scope != "write" and request.method not in CHANGES_NOTHING:
        raise Problem(HTTPStatus.FORBIDDEN, "this token may only read; make one of scope write")
    if token.last_used_at is None or (now - token.last_used_at).total_seconds() >= 3600:
        _mark(engine, mark_used, token.id, now)
    return account


def _mark(engine: Engine, mark: Callable[..., None], *what: object) -> None:
    """Keep that someone came; where others write, the next time that they come will do."""
    with suppress(StoreBusyError), writing(with_scant_patience(engine)) as connection:
        mark(connection, *what)


def _unknown() -> Problem:
    return Problem(
        HTTPStatus.UNAUTHORIZED,
        "sign in, or send a valid token, as Authorization: Bearer TOKEN",
        headers={"WWW-Authenticate": "Bearer"},
    )
