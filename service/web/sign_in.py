"""/sign-in, /sign-out, /forgotten, and /welcome/TOKEN, on which a password is chosen."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from http import HTTPStatus
from ipaddress import ip_address, ip_network
from math import ceil
from urllib.parse import urlsplit

from fastapi import APIRouter, BackgroundTasks, Request
from fastapi.responses import Response
from sqlalchemy import Engine

from service.accounts import (
    Refused,
    choose_password,
    count_request,
    find_by_link,
    invite,
    is_address,
    needs_administrator,
    plain_email,
    send_link,
    sign_in,
)
from service.links import Links
from service.passwords import LONGEST, SHORTEST, hash_password, is_good_password
from service.settings import Settings
from service.store.accounts import (
    LONGEST_SESSION,
    Account,
    end_session,
    end_sessions,
    find_account,
)
from service.store.engine import reading, writing
from service.web.access import Known, anyone, by_secret, is_secure, known, name_cookie
from service.web.own_tokens import find_own_tokens
from service.web.pages import Fields, Filled, answer_dead_link, answer_page, redirect

HOME = "/today"
"""The page after signing in, and behind "/"."""
KNOWN_FOR = timedelta(days=365)
"""How long a browser keeps that someone has signed in by it."""


def sign_in_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes of the pages."""
    routes = APIRouter(include_in_schema=False)
    links = Links(settings)

    @routes.get("/", dependencies=[known])
    def begin() -> Response:
        """Lead to the first page."""
        return redirect(HOME)

    @routes.get("/sign-in", dependencies=[anyone])
    def show(request: Request, next: str = HOME) -> Response:  # noqa: A002 (as in the address)
        """Show the form."""
        return answer_sign_in(request, {"next": next})

    @routes.post("/sign-in", dependencies=[by_secret])
    def enter(request: Request, fields: Filled) -> Response:
        """Sign in."""
        now = datetime.now(UTC)
        email, password = fields.get("email", ""), fields.get("password", "")
        again = _has_signed_in(request, links, email)
        secret = sign_in(engine, email, password, find_place(request), now, again)
        if isinstance(secret, Refused):
            return answer_sign_in(request, fields, secret)
        return enter_page(request, secret, email, fields.get("next", ""))

    @routes.post("/sign-out")
    def leave(request: Request, fields: Filled, who: Known) -> Response:
        """Sign out this browser, or everywhere."""
        now = datetime.now(UTC)
        with writing(engine) as connection:
            if fields.get("everywhere"):
                end_sessions(connection, who.account.id)
                who.note(connection, "signed out everywhere", who.account.email, now)
            else:
                end_session(connection, who.secret or "")
        answer = redirect("/sign-in")
        answer.delete_cookie(name_cookie(is_secure(request)), secure=is_secure(request))
        answer.headers["Clear-Site-Data"] = '"cache", "storage"'
        return answer

    @routes.get("/forgotten", dependencies=[anyone])
    def forgotten(request: Request) -> Response:
        """Ask for an address."""
        return answer_page(request, "forgotten.html", is_sent=False, wait_min=0)

    @routes.post("/forgotten", dependencies=[anyone])
    def take_request(request: Request, fields: Filled, after: BackgroundTasks) -> Response:
        """Mail a link, if there is such an account; the answer neither says nor waits for it."""
        now, email = datetime.now(UTC), fields.get("email", "")
        until = count_request(engine, email, find_place(request), now)
        if not until:
            after.add_task(send_link, engine, settings, email, now)
        status = HTTPStatus.TOO_MANY_REQUESTS if until else HTTPStatus.OK
        return answer_page(
            request, "forgotten.html", status, is_sent=True, wait_min=_count_minutes(until)
        )

    @routes.get("/welcome/{token}", dependencies=[by_secret])
    def welcome(request: Request, token: str) -> Response:
        """Let someone choose a password, once."""
        with reading(engine) as connection:
            found = find_by_link(connection, links, token, datetime.now(UTC))
        return show_welcome(request, found, {}) if found else answer_dead_link(request)

    @routes.post("/welcome/{token}", dependencies=[by_secret])
    def choose(request: Request, token: str, fields: Filled) -> Response:
        """Keep the password and sign in."""
        now = datetime.now(UTC)
        with reading(engine) as connection:
            found = find_by_link(connection, links, token, now)
        if found is None:
            return answer_dead_link(request)
        email = fields.get("email", "") if found == "first" else found.email
        if found == "first" and not is_address(email):
            return show_welcome(request, found, fields, "address")
        password = fields.get("password", "")
        if not is_good_password(password, email):
            return show_welcome(request, found, fields, "password")
        password_hash = hash_password(password)  # while no writer waits
        with writing(engine) as connection:
            account = find_by_link(connection, links, token, now)
            if account is None:
                return answer_dead_link(request)
            if account == "first":
                name = fields.get("name", "")[:100] or email
                account = find_account(connection, email) or invite(
                    connection, "the first link", email, name, "administrator", now
                )
                if account.role != "administrator" or account.revoked_at:
                    return show_welcome(request, found, fields, "address")
            ends_tokens = bool(fields.get("ends_tokens"))
            secret = choose_password(connection, account, password_hash, now, ends_tokens)
        return enter_page(request, secret, account.email)

    def show_welcome(
        request: Request, found: Account | str, fields: Fields, wrong: str | None = None
    ) -> Response:
        account = found if isinstance(found, Account) else None
        with reading(engine) as connection:
            tokens = find_own_tokens(connection, account.id) if account else []
        return answer_page(
            request,
            "welcome.html",
            HTTPStatus.UNPROCESSABLE_ENTITY if wrong else HTTPStatus.OK,
            account=account,
            programs=[one.name or f"{one.id}" for one in tokens],
            fields={"email": fields.get("email", ""), "name": fields.get("name", "")},
            wrong=wrong,
            shortest=SHORTEST,
            longest=LONGEST,
        )

    return routes


def answer_sign_in(request: Request, fields: Fields, refused: Refused | None = None) -> Response:
    """Return the form to sign in, with why no one is."""
    settings: Settings = request.app.state.settings
    status, until = HTTPStatus.OK, refused and refused.until
    if refused is not None:
        status = HTTPStatus.TOO_MANY_REQUESTS if until else HTTPStatus.FORBIDDEN
    page = answer_page(
        request,
        "sign_in.html",
        status,
        email=fields.get("email", ""),
        next=_within(fields.get("next", "")),
        refused=refused,
        wait_min=_count_minutes(until),
        is_new=needs_administrator(request.app.state.engine),
        provider=settings.oidc_name or urlsplit(settings.oidc_issuer).hostname,
    )
    if until:
        page.headers["Retry-After"] = f"{60 * _count_minutes(until)}"
    return page


def _count_minutes(until: datetime | None) -> int:
    """Return for how many minutes no try is taken."""
    wait_s = (until - datetime.now(UTC)).total_seconds() if until else 0.0
    return ceil(wait_s / 60)


def enter_page(request: Request, secret: str, email: str, path: str = HOME) -> Response:
    """Let a browser in, to a page of ours."""
    answer = redirect(_within(path))
    give_session(request, answer, secret, email)
    return answer


def give_session(request: Request, answer: Response, secret: str, email: str) -> None:
    """Let a browser keep a session, and for longer that it had one."""
    known = Links(request.app.state.settings).write_browser(plain_email(email))
    for name, value, lasts in (
        (name_cookie(is_secure(request)), secret, LONGEST_SESSION),
        (_name_known(request), known, KNOWN_FOR),
    ):
        answer.set_cookie(
            name,
            value,
            max_age=int(lasts.total_seconds()),
            secure=is_secure(request),
            httponly=True,
            samesite="lax",
        )


def _has_signed_in(request: Request, links: Links, email: str) -> bool:
    """Return whether a browser is one by which someone has signed in with an address."""
    return links.is_browser(request.cookies.get(_name_known(request), ""), plain_email(email))


def _name_known(request: Request) -> str:
    return f"{name_cookie(is_secure(request))}-known"


def find_place(request: Request) -> str:
    """Return the address from which a request comes; of IPv6 the network that one line is given."""
    host = request.client.host if request.client else "unknown"
    try:
        address = ip_address(host)
    except ValueError:
        return host
    return host if address.version == 4 else f"{ip_network((int(address), 64), strict=False)}"


def _within(path: str) -> str:
    """Return a path of ours; of anything else the first page."""
    is_ours = path.startswith("/") and path[1:2] not in ("/", "\\") and path.isprintable()
    return path if is_ours else HOME
